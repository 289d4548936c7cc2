"""Files brought in: sources with their columns matched, uploads that wait, loads and their withdrawals."""

import sqlalchemy as sa
from alembic import op

from migrations.tables import content, refers, text, whole

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    op.create_table(
        "file_source",
        text("name", key=True),
        text("kind", key=True),
        text("matching"),
        text("person"),
        text("matched_at"),
    )
    _uploads()
    op.create_table(
        "file_load",
        whole("number", key=True),
        text("person"),
        text("loaded_at"),
        text("way"),
        text("source"),
        text("files"),
        text("kinds"),
        whole("first_seq"),
        whole("last_seq"),
    )
    op.create_table(
        "load_withdrawal",
        refers("load", "file_load.number", key=True),
        text("person"),
        text("withdrawn_at"),
        text("reason"),
        whole("first_seq"),
        whole("last_seq"),
    )


def _uploads() -> None:
    op.create_table(
        "upload",
        text("number", key=True),
        sa.Column("person", sa.String(), sa.ForeignKey("person.name"), nullable=False),
        text("source"),
        text("written"),
        text("sent_at"),
        text("expires_at"),
        sa.Column("tried", sa.LargeBinary(), nullable=True),
    )
    op.create_index(op.f("ix_upload_person"), "upload", ["person"])
    op.create_index(op.f("ix_upload_expires_at"), "upload", ["expires_at"])
    op.create_table(
        "upload_part",
        sa.Column("upload", sa.String(), sa.ForeignKey("upload.number"), nullable=False, primary_key=True),
        whole("place", key=True),
        text("file"),
        text("sha256"),
        text("title"),
        text("header"),
        text("first"),
        whole("rows"),
        text("kind"),
        text("matching"),
        content("plain"),
    )
