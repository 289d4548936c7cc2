"""Stock, orders, the flying plan, assumptions."""

import sqlalchemy as sa

from migrations.tables import blank_or, day, fact_table, not_negative, number, refers, text, whole, yes_or_no

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    fact_table(
        "stock",
        refers("base", "base.id"),
        refers("brake_type", "brake_type.id"),
        day("counted_on"),
        whole("serviceable", not_negative("serviceable")),
        whole("unserviceable", null=True),
        key=("base", "brake_type", "counted_on"),
    )
    fact_table(
        "purchase_order",
        refers("base", "base.id"),
        refers("brake_type", "brake_type.id"),
        whole("quantity", sa.CheckConstraint("quantity > 0", name="quantity")),
        day("ordered_on"),
        day("due_on", null=True),
        key=("base", "brake_type", "ordered_on", blank_or("work_order")),
    )
    fact_table(
        "flying_plan",
        refers("aircraft", "aircraft.id", null=True),
        refers("base", "base.id", null=True),
        day("month"),
        sa.Column("landings", sa.Double(), not_negative("landings"), nullable=False),
        number("flight_hours"),
        key=(blank_or("aircraft", "0"), blank_or("base", "0"), "month"),
    )
    fact_table(
        "assumption",
        text("name"),
        refers("aircraft_type", "aircraft_type.id", null=True),
        refers("brake_type", "brake_type.id", null=True),
        refers("base", "base.id", null=True),
        sa.Column("value", sa.Double(), nullable=False),
        text("unit"),
        number("low"),
        number("high"),
        text("source"),
        day("dated"),
        text("owner", null=True),
        day("review_by", null=True),
        yes_or_no("approved"),
        key=(
            "name",
            blank_or("aircraft_type", "0"),
            blank_or("brake_type", "0"),
            blank_or("base", "0"),
            "dated",
        ),
    )
