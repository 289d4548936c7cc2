"""Who gave whom which access: what was done, by whom and by which way; links with who made them and what came of it."""

import sqlalchemy as sa
from alembic import op

from migrations.tables import append_only, text, word

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    op.create_table(
        "access_act",
        text("number", key=True),
        text("at"),
        sa.Column("person", sa.String(), sa.ForeignKey("person.name"), nullable=False),
        word(
            "act",
            "added",
            "changed",
            "signed out",
            "tokens ended",
            "ended",
            "given back",
            "identity connected",
        ),
        text("told"),
        text("by"),
        text("way"),
    )
    op.create_index(op.f("ix_access_act_person"), "access_act", ["person"])
    append_only("access_act")
    op.add_column("person_session", text("link", null=True))
    for name in ("made_at", "made_by", "way", "ended_at", "password_at"):
        op.add_column("one_time_link", text(name, null=True))
    op.add_column("one_time_link", sa.Column("resets", sa.Boolean(), nullable=True))
