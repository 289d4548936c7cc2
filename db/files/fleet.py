"""Files about bases, aircraft, brake types, their limits and where they may be fitted."""

from db.files.column import (
    DAY,
    LENGTH,
    LIST,
    NAME,
    NOT_KEPT,
    NUMBER,
    POSITIVE,
    QUANTITY,
    TEXT,
    WORD,
    File,
    may,
    must,
)
from db.records.fleet import CONVENTIONS, LENGTH_UNITS, STATUSES
from db.records.readings import YES_NO

BASES = File(
    "bases", (must("base", NAME), may("name", TEXT), may("kind", WORD, ("line", "depot"))), key=("base",)
)
AIRCRAFT_TYPES = File(
    "aircraft_types",
    (
        must("aircraft_type", NAME),
        must("positions", LIST),
        may("position_groups", LIST),
        may("landing_mass_kg", POSITIVE),
        may("touchdown_speed_kt", POSITIVE),
    ),
    key=("aircraft_type",),
)
BRAKE_TYPES = File(
    "brake_types",
    (
        must("brake_type", NAME),
        may("maker", TEXT),
        must("material", WORD, ("steel", "carbon")),
        may("mass_kg", POSITIVE),
        may("pins", QUANTITY),
        may("new_pin_mm", POSITIVE),
        may("new_gap_mm", NUMBER),
    ),
    key=("brake_type",),
)
WEAR_LIMITS = File(
    "wear_limits",
    (
        must("brake_type", NAME),
        may("weight_variant", NAME),
        may("position_group", NAME),
        may("convention", WORD, CONVENTIONS),
        must("limit", LENGTH),
        may("unit", WORD, LENGTH_UNITS),
        may("at_limit", WORD, ("off", "allowed")),
        must("effective_on", DAY),
        must("source", TEXT),
        may("approved", WORD, YES_NO, field=NOT_KEPT),
    ),
    key=("brake_type", "weight_variant", "position_group", "convention", "effective_on"),
)
AIRCRAFT = File(
    "aircraft",
    (
        must("registration", NAME),
        may("msn", NAME),
        must("aircraft_type", NAME),
        may("base", NAME),
        may("weight_variant", NAME),
        may("in_service_on", DAY),
        may("retires_on", DAY),
    ),
    key=("registration",),
    ends=("retires_on",),
    in_order=(("in_service_on", "retires_on"),),
)
AIRCRAFT_CHANGES = File(
    "aircraft_changes",
    (
        must("registration", NAME, field="aircraft"),
        must("from", DAY, field="from_on"),
        may("base", NAME),
        may("weight_variant", NAME),
        may("new_registration", NAME),
        may("status", WORD, STATUSES),
    ),
    key=("registration", "from"),
)
EFFECTIVITY = File(
    "effectivity",
    (
        must("aircraft_type", NAME),
        may("registration", NAME, field="aircraft"),
        may("weight_variant", NAME),
        must("brake_type", NAME),
        may("position_group", NAME),
        may("mix", WORD, ("none", "same group", "any")),
        may("from", DAY, field="from_on"),
        may("to", DAY, field="to_on"),
        may("source", TEXT),
    ),
    key=("aircraft_type", "registration", "weight_variant", "brake_type", "position_group", "from"),
    ends=("to",),
    in_order=(("from", "to"),),
)
