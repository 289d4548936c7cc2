"""
What the arithmetic reads: every record effective by one day, as known at one point.

What is dated after the day has not happened; papers that carry days of their own (a flying plan, an order's due day, a
retirement, an effectivity) stay as they are. One select of columns a table, straight into frames.
"""

import datetime as dt
from collections.abc import Collection, Mapping
from typing import Any, Final

import pandas as pd
from sqlalchemy import SQLColumnExpression, func
from sqlalchemy.orm import Session

from db.approved import approved_assumptions, limits_that_count
from db.continued import continue_totals
from db.frames import frame_of
from db.identities import add_referred, name_each, names_of, tell_names
from db.lookup import Known, current
from db.observed import OBSERVED, read
from db.records.brakes import Installation, Removal
from db.records.readings import Event, Landing, PinReading, Ruling
from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.observations import COLUMNS, LIST, Records, records_from

NOT_OVER: Final = {
    "deactivations": ("to_on",),
    "shop_visits": ("back_on", "brake_back", "cost", "currency"),
}
SCOPES: Final = ("aircraft_type", "brake_type", "base")


def observe(session: Session, *, on: dt.date, known: Known, as_if_approved: Collection[int] = ()) -> Records:
    """Return every record effective by `on`, as known at `known`; limits `as_if_approved` (record numbers) count."""
    frames = {name: read(session, name, on, known) for name in OBSERVED if name != "wear_limits"}
    frames["wear_limits"] = limits_that_count(session, on, known, as_if_approved=as_if_approved)
    frames["installations"] = _removed(session, frames["installations"], on, known)
    frames["pin_readings"] = _ruled(session, frames["pin_readings"], known)
    for name, ends in NOT_OVER.items():
        _take_back(frames[name], ends, on)
    continue_totals(session, frames, on, known)
    add_referred(session, frames)
    frames["aircraft"] = _registered(frames["aircraft"], frames["aircraft_changes"])
    tell_names(frames)
    return records_from({name: _declared(name, frame) for name, frame in frames.items()})


def observe_assumptions(
    session: Session, *, on: dt.date, known: Known, as_if_approved: Collection[int] = ()
) -> AssumptionSet:
    """Return the assumptions approved and dated by `on`, as known at `known`, and those `as_if_approved`."""
    rows = approved_assumptions(session, on, known, as_if_approved=as_if_approved)
    frames = {name: read(session, name, on, known) for name in ("bases", "aircraft_types", "brake_types")}
    frames["assumptions"] = rows
    add_referred(session, frames)
    names = names_of(frames)
    told = rows.assign(**{scope: name_each(rows[scope], names[scope]) for scope in SCOPES})
    return AssumptionSet(tuple(_assumption(row) for row in told.to_dict("records")))


def last_effective_day(session: Session, known: Known) -> dt.date | None:
    """Return the last day with landings, readings, events or work on brakes on record; None if there is none."""
    days: list[SQLColumnExpression[Any]] = [
        func.coalesce(Landing.to_day, Landing.day),
        PinReading.day,
        Event.day,
        Installation.installed_on,
        Removal.removed_on,
    ]
    models = (Landing, PinReading, Event, Installation, Removal)
    found = [
        session.execute(current(model, known).with_only_columns(func.max(day))).scalar_one()
        for model, day in zip(models, days, strict=True)
    ]
    return max((day for day in found if day is not None), default=None)


def _removed(session: Session, stays: pd.DataFrame, on: dt.date, known: Known) -> pd.DataFrame:
    """Installations with the removals that have happened."""
    columns: list[Any] = [
        Removal.installation,
        Removal.removed_on,
        Removal.removal_reason,
        Removal.aircraft_landings.label("aircraft_landings_off"),
    ]
    removals = frame_of(
        session, current(Removal, known).where(Removal.removed_on <= on).with_only_columns(*columns)
    )
    joined = stays.merge(removals, left_on="fact", right_on="installation", how="left")
    return joined.assign(removal_reason=joined["removal_reason"].fillna("").astype("str"))


def _ruled(session: Session, readings: pd.DataFrame, known: Known) -> pd.DataFrame:
    """Readings in the state that a second person's ruling left them in."""
    columns: list[Any] = [Ruling.reading, Ruling.state]
    rulings = frame_of(session, current(Ruling, known).with_only_columns(*columns))
    place = pd.Index(rulings["reading"]).get_indexer(readings["fact"])
    ruled = rulings["state"].to_numpy(dtype=object)[place[place >= 0]]
    state = readings["state"].to_numpy(dtype=object)
    state[place >= 0] = ruled
    return readings.assign(state=state)


def _take_back(frame: pd.DataFrame, ends: tuple[str, ...], on: dt.date) -> None:
    """What ended later had not ended, and what its end brought was not known."""
    later = frame[ends[0]] > pd.Timestamp(on)
    for column in ends:
        frame[column] = frame[column].mask(later, "" if frame[column].dtype == "str" else None)


def _registered(aircraft: pd.DataFrame, changes: pd.DataFrame) -> pd.DataFrame:
    """Aircraft with the registration that they carry at the end."""
    renamed = changes[changes["new_registration"] != ""].sort_values("from_on")
    latest = renamed.drop_duplicates("aircraft", keep="last").set_index("aircraft")["new_registration"]
    now = aircraft["aircraft"].map(latest)
    return aircraft.assign(registration=now.where(now.notna(), aircraft["registration"]).astype("str"))


def _declared(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Only the columns that the arithmetic knows, in the order of record numbers; joined texts become lists."""
    declared = frame[list(COLUMNS[name])].sort_values("record", ignore_index=True)
    for column, kind in COLUMNS[name].items():
        if kind == LIST:
            declared[column] = [tuple(text.split(";")) if text else () for text in declared[column]]
    return declared


def _assumption(row: Mapping[Any, Any]) -> Assumption:
    low, high = (None if pd.isna(row[name]) else float(row[name]) for name in ("low", "high"))
    same = {name: row[name] for name in ("name", "value", "unit", "source", *SCOPES)}
    return Assumption(**same, dated=row["dated"].date(), low=low, high=high, record=int(row["id"]))
