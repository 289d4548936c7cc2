"""What enters the rows of each kind of record: one function a file, and those of removals and rulings."""

from collections.abc import Callable, Mapping
from functools import partial

import pandas as pd
from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.brakes import record_brakes, record_shop_visits, record_stock_movements
from db.entry.changes import record_aircraft_changes
from db.entry.economics import record_assumptions, record_flying_plan, record_orders, record_stock
from db.entry.events import record_events, record_exclusions
from db.entry.fleet import (
    record_aircraft,
    record_aircraft_types,
    record_bases,
    record_brake_types,
    record_effectivity,
    record_wear_limits,
)
from db.entry.installations import record_installations, record_removals
from db.entry.landings import record_counter_changes, record_landings
from db.entry.outcome import Outcome
from db.entry.readings import record_pin_readings
from db.entry.rulings import record_rulings
from db.entry.work import record_deactivations, record_reshims

Recorder = Callable[[Session, Act, pd.DataFrame], Outcome]


def recorders(
    *, approved: bool = False, progress: Callable[[int], None] | None = None
) -> Mapping[str, Recorder]:
    """Return what enters the rows of each kind of record; `approved` as an administrator's load has it."""
    return {
        "bases": record_bases,
        "aircraft_types": record_aircraft_types,
        "brake_types": record_brake_types,
        "wear_limits": partial(record_wear_limits, approved=approved),
        "aircraft": record_aircraft,
        "aircraft_changes": record_aircraft_changes,
        "effectivity": record_effectivity,
        "brakes": record_brakes,
        "installations": record_installations,
        "removals": record_removals,
        "reshims": record_reshims,
        "deactivations": record_deactivations,
        "counter_changes": record_counter_changes,
        "landings": partial(record_landings, progress=progress),
        "pin_readings": partial(record_pin_readings, approved=approved),
        "rulings": record_rulings,
        "shop_visits": record_shop_visits,
        "stock_movements": record_stock_movements,
        "events": record_events,
        "exclusions": record_exclusions,
        "stock": record_stock,
        "orders": record_orders,
        "flying_plan": record_flying_plan,
        "assumptions": partial(record_assumptions, approved=approved),
    }
