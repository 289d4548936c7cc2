"""Brakes put into the stock of a base, one by one."""

from alembic import op

from migrations.tables import day, fact_table, refers, word

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    fact_table(
        "stock_movement",
        refers("brake", "brake.id"),
        refers("base", "base.id"),
        day("day"),
        word("condition", "serviceable", "unserviceable"),
        key=("brake", "day"),
    )
    op.create_index(op.f("ix_stock_movement_brake"), "stock_movement", ["brake"])
