"""Files about what is observed."""

from db.files.column import (
    COUNT,
    DAY,
    LENGTH,
    NAME,
    NOT_KEPT,
    NUMBER,
    PAST_DAY,
    POSITIVE,
    QUANTITY,
    TEXT,
    WORD,
    Column,
    File,
    may,
    must,
)
from db.records.fleet import CONVENTIONS, LENGTH_UNITS
from db.records.readings import EVENTS, STATES, YES_NO

COUNTER_CHANGES = File(
    "counter_changes",
    (
        must("registration", NAME, field="aircraft"),
        must("day", PAST_DAY),
        must("starts_at", COUNT),
    ),
    key=("registration", "day"),
    tells_of=("day",),
)
LANDINGS = File(
    "landings",
    (
        must("registration", NAME, field="aircraft"),
        must("day", PAST_DAY),
        may("to_day", PAST_DAY),
        may("base", NAME),
        may("airfield", TEXT),
        Column(
            "full_stops", COUNT, required=True, field="full_stops", may_be_blank=True
        ),  # blank is not reported, zero is zero
        may("touch_and_gos", COUNT),
        may("rejected_takeoffs", COUNT),
        may("flight_hours", NUMBER),
        may("total_landings", COUNT),
        may("landing_mass_kg", POSITIVE),
    ),
    key=("registration", "day"),
    in_order=(("day", "to_day"),),
    tells_of=("day", "to_day"),
)
PIN_READINGS = File(
    "pin_readings",
    (
        must("serial", NAME, field="brake"),
        may("brake_type", NAME, field=NOT_KEPT),
        must("day", PAST_DAY),
        may("pin_1", LENGTH),
        must("unit", WORD, LENGTH_UNITS),
        must("convention", WORD, CONVENTIONS),
        may("within_limit", WORD, YES_NO),
        may("brakes_applied", WORD, YES_NO),
        may("cold", WORD, YES_NO),
        may("reader", TEXT),
        may("occasion", TEXT),
        may("aircraft_landings", COUNT),
        may("state", WORD, STATES),
    ),
    key=("serial", "brake_type", "day", "convention", "occasion"),
    tells_of=("day",),
)
# Entered by itself: a second person's word on a held reading, which is named by its record number.
RULINGS = File(
    "rulings",
    (must("reading", QUANTITY), must("state", WORD, ("accepted", "refused"))),
    key=("reading",),
)
EVENTS_TABLE = File(
    "events",
    (
        must("registration", NAME, field="aircraft"),
        must("day", PAST_DAY),
        must("event", WORD, EVENTS),
        may("position", NAME),
        may("speed_kt", NUMBER),
        may("mass_kg", POSITIVE),
    ),
    key=("registration", "day", "event", "position"),
    tells_of=("day",),
)
EXCLUSIONS = File(
    "exclusions",
    (
        may("serial", NAME, field="brake"),
        may("brake_type", NAME, field=NOT_KEPT),
        may("registration", NAME, field="aircraft"),
        must("from", PAST_DAY, field="from_on"),
        must("to", DAY, field="to_on"),
        must("reason", TEXT, field="why"),
    ),
    key=("serial", "brake_type", "registration", "from", "reason"),
    in_order=(("from", "to"),),
    one_of=("serial", "registration"),
    tells_of=("from",),
)
