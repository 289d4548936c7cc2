"""The one table of files, in loading order; import, export and forms read it."""

from collections.abc import Mapping
from typing import Final

from db.files.brakes import (
    BRAKES,
    DEACTIVATIONS,
    INSTALLATIONS,
    REMOVALS,
    RESHIMS,
    SHOP_VISITS,
    STOCK_MOVEMENTS,
)
from db.files.column import Column, File
from db.files.economics import ASSUMPTIONS, FLYING_PLAN, ORDERS, STOCK
from db.files.fleet import (
    AIRCRAFT,
    AIRCRAFT_CHANGES,
    AIRCRAFT_TYPES,
    BASES,
    BRAKE_TYPES,
    EFFECTIVITY,
    WEAR_LIMITS,
)
from db.files.readings import COUNTER_CHANGES, EVENTS_TABLE, EXCLUSIONS, LANDINGS, PIN_READINGS, RULINGS

__all__ = ["ENTERED", "FILES", "GIVES_NAMES", "USES_NAMES", "Column", "File"]

# What others refer to comes first, so effectivity follows the aircraft that it may name.
FILES: Final[Mapping[str, File]] = {
    file.name: file
    for file in (
        BASES,
        AIRCRAFT_TYPES,
        BRAKE_TYPES,
        WEAR_LIMITS,
        AIRCRAFT,
        AIRCRAFT_CHANGES,
        EFFECTIVITY,
        BRAKES,
        INSTALLATIONS,
        RESHIMS,
        DEACTIVATIONS,
        COUNTER_CHANGES,
        LANDINGS,
        PIN_READINGS,
        EVENTS_TABLE,
        EXCLUSIONS,
        SHOP_VISITS,
        STOCK_MOVEMENTS,
        STOCK,
        ORDERS,
        FLYING_PLAN,
        ASSUMPTIONS,
    )
}

# Every kind of record that can be entered: those of the files, and those that no folder of files has.
ENTERED: Final[Mapping[str, File]] = {**FILES, REMOVALS.name: REMOVALS, RULINGS.name: RULINGS}

# The names that a file's rows bring in, and the column by which others use them.
GIVES_NAMES: Final[Mapping[str, tuple[str, str]]] = {
    "bases": ("base", "base"),
    "aircraft_types": ("aircraft_type", "aircraft_type"),
    "brake_types": ("brake_type", "brake_type"),
    "aircraft": ("registration", "registration"),
    "aircraft_changes": ("new_registration", "registration"),
    "brakes": ("serial", "serial"),
}
# Columns that use the names of another column.
USES_NAMES: Final[Mapping[str, str]] = {"serial_back": "serial", "brake_type_back": "brake_type"}
