"""Which table and which columns each frame of the arithmetic's records comes from."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from sqlalchemy import Select, SQLColumnExpression, func, select
from sqlalchemy.orm import Session

from db.base import Fact
from db.frames import frame_of
from db.lookup import Known, current
from db.records.brakes import Brake, Deactivation, Installation, Reshim, ShopVisit
from db.records.economics import FlyingPlan, Order, StockCount
from db.records.fleet import (
    Aircraft,
    AircraftChange,
    AircraftType,
    BaseStation,
    BrakeType,
    Effectivity,
    WearLimit,
)
from db.records.readings import Event, Exclusion, Landing, PinReading
from lifecycle.observations import COLUMNS

RECORDS_A_SELECT: Final = 500_000  # record numbers; what the driver hands over at once has to fit into memory


@dataclass(frozen=True)
class Observed:
    """Where a frame comes from, and the day on which a row has happened (None: it counts whenever it is known)."""

    model: type[Fact]
    happened: SQLColumnExpression[Any] | None = None


OBSERVED: Final[Mapping[str, Observed]] = {
    "bases": Observed(BaseStation),
    "aircraft_types": Observed(AircraftType),
    "brake_types": Observed(BrakeType),
    "wear_limits": Observed(WearLimit, WearLimit.effective_on),
    "effectivity": Observed(Effectivity),
    "aircraft": Observed(Aircraft),
    "aircraft_changes": Observed(AircraftChange, AircraftChange.from_on),
    "brakes": Observed(Brake),
    "installations": Observed(Installation, Installation.installed_on),
    "reshims": Observed(Reshim, Reshim.day),
    "deactivations": Observed(Deactivation, Deactivation.from_on),
    "landings": Observed(Landing, func.coalesce(Landing.to_day, Landing.day)),
    "pin_readings": Observed(PinReading, PinReading.day),
    "events": Observed(Event, Event.day),
    "exclusions": Observed(Exclusion, Exclusion.from_on),
    "shop_visits": Observed(ShopVisit, ShopVisit.sent_on),
    "stock": Observed(StockCount, StockCount.counted_on),
    "orders": Observed(Order, Order.ordered_on),
    "flying_plan": Observed(FlyingPlan),
}
# Columns that are called otherwise in their table.
CALLED: Final = {
    ("brakes", "brake"): "fact",
    ("aircraft", "aircraft"): "fact",
    ("deactivations", "reason"): "why",
    ("exclusions", "reason"): "why",
    ("installations", "aircraft_landings_on"): "aircraft_landings",
}
# Needed on the way besides the fact: which counter a total was read from, and whether a limit counts.
ALSO: Final = {"landings": ("counter",), "wear_limits": ("approved", "withdrawn", "version")}
FROM_REMOVALS: Final = ("removed_on", "removal_reason", "aircraft_landings_off")


def read(session: Session, name: str, on: dt.date, known: Known) -> pd.DataFrame:
    """Frame of one kind of record, its references still record numbers, with `fact` beside the declared columns."""
    model, happened = OBSERVED[name].model, OBSERVED[name].happened
    statement = current(model, known)
    if happened is not None:
        statement = statement.where(happened <= on)
    return read_all(session, name, statement)


def read_all(session: Session, name: str, statement: Select[Any]) -> pd.DataFrame:
    """Rows of a statement over the table of one kind of record, with the frame's columns."""
    model = OBSERVED[name].model
    statement = statement.with_only_columns(*_columns(name, model))
    last = session.execute(select(func.max(model.id))).scalar_one() or 0
    parts = [
        frame_of(session, statement.where(model.id > start, model.id <= start + RECORDS_A_SELECT))
        for start in range(0, max(last, 1), RECORDS_A_SELECT)
    ]
    full = [part for part in parts if len(part)] or parts[:1]
    return full[0] if len(full) == 1 else pd.concat(full, ignore_index=True)


def _columns(name: str, model: type[Fact]) -> list[Any]:
    wanted = [column for column in COLUMNS[name] if not (name == "installations" and column in FROM_REMOVALS)]
    called = {column: CALLED.get((name, column), column) for column in wanted} | {"record": "id"}
    also = {column: column for column in ("fact", *ALSO.get(name, ()))}
    columns = {column: getattr(model, attribute) for column, attribute in (called | also).items()}
    return [value if value.key == column else value.label(column) for column, value in columns.items()]
