"""Sheets as issued, the lines typed from them, and their check by a second typing."""

import sqlalchemy as sa
from alembic import op

from migrations.tables import blank_or, day, refers, text, whole, word

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    op.create_table(
        "sheet",
        text("code", key=True),
        word("kind", "landings", "wear check", "move slip"),
        refers("base", "base.id", null=True),
        day("day"),
        refers("aircraft", "aircraft.id", null=True),
        text("work_order", null=True),
        text("asks"),
        text("issued_by"),
        text("issued_at"),
        text("posted_by", null=True),
        text("posted_at", null=True),
    )
    op.create_index(op.f("ix_sheet_day"), "sheet", ["day"])
    landings = sa.text("kind = 'landings'")
    op.create_index(
        "uq_sheet_landings",
        "sheet",
        [sa.text(blank_or("base", "0")), sa.text("day")],
        unique=True,
        sqlite_where=landings,
        postgresql_where=landings,
    )
    op.create_table(
        "sheet_line",
        text("key", key=True),
        _sheet(),
        text("place"),
        text("typed"),
        text("seen"),
        word("state", "standing", "replaced", "conflict", "posted"),
        text("person"),
        text("kept_at"),
    )
    op.create_index(op.f("ix_sheet_line_sheet"), "sheet_line", ["sheet"])
    op.create_table(
        "sheet_check",
        _sheet(key=True),
        text("typed"),
        whole("places"),
        whole("differences"),
        text("person"),
        text("checked_at"),
    )


def _sheet(*, key: bool = False) -> "sa.Column[str]":
    return sa.Column("sheet", sa.String(), sa.ForeignKey("sheet.code"), nullable=False, primary_key=key)
