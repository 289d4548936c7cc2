"""Files about stock, orders, the flying plan and what is taken as given."""

from db.files.column import (
    COUNT,
    DAY,
    MONTH,
    NAME,
    NOT_KEPT,
    NUMBER,
    PAST_DAY,
    QUANTITY,
    SIGNED,
    TEXT,
    WORD,
    File,
    may,
    must,
)
from db.records.readings import YES_NO

STOCK = File(
    "stock",
    (
        must("base", NAME),
        must("brake_type", NAME),
        must("counted_on", PAST_DAY),
        must("serviceable", COUNT),
        may("unserviceable", COUNT),
    ),
    key=("base", "brake_type", "counted_on"),
    tells_of=("counted_on",),
)
ORDERS = File(
    "orders",
    (
        must("base", NAME),
        must("brake_type", NAME),
        must("quantity", QUANTITY),
        must("ordered_on", PAST_DAY),
        may("due_on", DAY),
    ),
    # Two orders on one day differ by their order number.
    key=("base", "brake_type", "ordered_on", "work_order"),
    ends=("due_on",),
    in_order=(("ordered_on", "due_on"),),
    tells_of=("ordered_on",),
)
FLYING_PLAN = File(
    "flying_plan",
    (
        may("registration", NAME, field="aircraft"),
        may("base", NAME),
        must("month", MONTH),
        must("landings", NUMBER),
        may("flight_hours", NUMBER),
    ),
    key=("registration", "base", "month"),
    one_of=("registration", "base"),
)
ASSUMPTIONS = File(
    "assumptions",
    (
        must("name", NAME),
        may("aircraft_type", NAME),
        may("brake_type", NAME),
        may("base", NAME),
        must("value", SIGNED),
        must("unit", NAME),
        may("low", SIGNED),
        may("high", SIGNED),
        must("source", TEXT),
        must("dated", PAST_DAY),
        may("owner", TEXT),
        may("review_by", DAY),
        may("approved", WORD, YES_NO, field=NOT_KEPT),
    ),
    key=("name", "aircraft_type", "brake_type", "base", "dated"),
)
