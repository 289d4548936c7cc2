"""Every record that is current at a point, in the files' own columns: names for record numbers, one row a record."""

from collections.abc import Iterator, Mapping
from typing import Final

import pandas as pd
from sqlalchemy.orm import Session

from db.base import Fact
from db.called import Names
from db.files import FILES, File
from db.files.column import PIN
from db.frames import frame_of
from db.lookup import Known, current
from db.records.brakes import Brake, Deactivation, Installation, Removal, Reshim, ShopVisit, StockMovement
from db.records.economics import AssumptionEntry, FlyingPlan, Order, StockCount
from db.records.fleet import (
    Aircraft,
    AircraftChange,
    AircraftType,
    BaseStation,
    BrakeType,
    Effectivity,
    WearLimit,
)
from db.records.readings import CounterChange, Event, Exclusion, Landing, PinReading, Ruling

TABLES: Final[Mapping[str, type[Fact]]] = {
    "bases": BaseStation,
    "aircraft_types": AircraftType,
    "brake_types": BrakeType,
    "wear_limits": WearLimit,
    "aircraft": Aircraft,
    "aircraft_changes": AircraftChange,
    "effectivity": Effectivity,
    "brakes": Brake,
    "installations": Installation,
    "reshims": Reshim,
    "deactivations": Deactivation,
    "counter_changes": CounterChange,
    "landings": Landing,
    "pin_readings": PinReading,
    "events": Event,
    "exclusions": Exclusion,
    "shop_visits": ShopVisit,
    "stock_movements": StockMovement,
    "stock": StockCount,
    "orders": Order,
    "flying_plan": FlyingPlan,
    "assumptions": AssumptionEntry,
}
WRITTEN: Final = ("known_on", "work_order", "note")


def exported(session: Session, known: Known) -> Iterator[tuple[File, pd.DataFrame]]:
    """Each file in loading order, with its rows in the order of their keys."""
    needed = ("bases", "aircraft_types", "brake_types", "brakes", "aircraft", "aircraft_changes")
    names = Names({name: _facts(session, name, known) for name in needed})
    for name, file in FILES.items():
        facts = _facts(session, name, known)
        frame = pd.DataFrame({column: names.told(file, column, facts) for column in _columns(file, facts)})
        key = [column for column in file.key if column in frame]
        order = frame.assign(order=facts["id"]).sort_values([*key, "order"], na_position="first").index
        yield file, frame.loc[order].reset_index(drop=True)


def _columns(file: File, facts: pd.DataFrame) -> list[str]:
    """Columns of the file, with as many pins as any reading has."""
    pins = [str(column) for column in facts if PIN.fullmatch(str(column)) and column != "pin_1"]
    return [
        name for column in file.columns for name in [column.name, *(pins if column.name == "pin_1" else [])]
    ]


def _facts(session: Session, name: str, known: Known) -> pd.DataFrame:
    facts = frame_of(session, current(TABLES[name], known))
    if name == "installations":
        return _with_removals(facts, frame_of(session, current(Removal, known)))
    if name == "pin_readings":
        return _with_pins(facts, frame_of(session, current(Ruling, known)))
    return facts


def _with_removals(made: pd.DataFrame, removals: pd.DataFrame) -> pd.DataFrame:
    """
    Installations with their removals in the same row.

    A removal that was written down at another time, or under another work order, takes a row of its own with the same
    key: imported, it completes the one before it.
    """
    ended = removals[["installation", "removed_on", "removal_reason", "aircraft_landings"]]
    ended = ended.rename(columns={"installation": "fact", "aircraft_landings": "landings_off"})
    both = made.merge(ended, on="fact", how="left").fillna({"removal_reason": ""})
    own = made[["fact"]].merge(
        removals[["installation", "id", *WRITTEN]], left_on="fact", right_on="installation", how="left"
    )
    with_it = own["known_on"] == both[["known_on", "removed_on"]].max(axis=1)
    for column in ("work_order", "note"):
        with_it &= own[column] == both[column]
    apart = both["removed_on"].notna() & ~with_it
    later = both.loc[apart].assign(**{column: own.loc[apart, column] for column in ("id", *WRITTEN)})
    first = both.assign(
        removed_on=both["removed_on"].mask(apart),
        removal_reason=both["removal_reason"].mask(apart, ""),
        landings_off=both["landings_off"].mask(apart),
    )
    return pd.concat([first, later], ignore_index=True)


def _with_pins(readings: pd.DataFrame, rulings: pd.DataFrame) -> pd.DataFrame:
    """Readings with their pins as they were typed, and the state that a second person gave them."""
    ruled = dict(zip(rulings["reading"], rulings["state"], strict=True))
    states = [ruled.get(fact, state) for fact, state in zip(readings["fact"], readings["state"], strict=True)]
    most = int(readings["pins"].str.count(";").max() + 1) if len(readings) else 1
    pins = readings["pins"].str.split(";", expand=True).fillna("").reindex(columns=range(most), fill_value="")
    pins.columns = [f"pin_{number}" for number in range(1, most + 1)]
    return pd.concat([readings.assign(state=pd.array(states, dtype="str")), pins], axis=1)
