"""What the ledger knows: the current version of each fact as known at a point, and records found by their names."""

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import ColumnElement, Select, func, not_, or_, select, true
from sqlalchemy.orm import InstrumentedAttribute, Session, aliased

from db.base import Fact, table_of
from db.records.brakes import Brake
from db.records.fleet import Aircraft, AircraftChange, AircraftType, BaseStation, BrakeType
from db.records.log import ChainHead, Change

NOT_FOUND: Final = 0
# No database keeps a longer number; asking for one is an error of its own.
LAST_NUMBER: Final = 2**63 - 1
SEVERAL: Final = -1
# Above this many, reading a whole column is quicker than asking for each, and databases limit what one query carries.
ASKED_ONE_BY_ONE: Final = 900


@dataclass(frozen=True)
class Known:
    """A point in what was known: changes up to `seq`, of which the facts known by the end of `day`."""

    seq: int
    day: dt.date


def known_by(session: Session, known_on: dt.date | None = None, *, seq: int | None = None) -> Known:
    """
    Return the point of what is known now, was known by a day, or at a sequence number (of it, by the day).

    A day on which the ledger was kept is the last change of that day, so that what is entered later is not known then,
    back-dated or not. Of days before its first change the log says nothing: there the days speak that stand in what was
    brought in since (`recorded_on`), and the answer grows with it. A kept point gives the same answer for ever.
    """
    last = session.execute(select(ChainHead.seq)).scalar_one() if seq is None else seq
    if known_on is None:
        day = session.scalar(select(func.max(Change.recorded_on)).where(Change.seq <= last))
        return Known(last, day or dt.date.min)
    if seq is None:
        last = session.scalar(select(func.max(Change.seq)).where(Change.recorded_on <= known_on)) or last
    return Known(last, known_on)


def log_began(session: Session) -> dt.date | None:
    """Return the day of the first change, None before it."""
    return session.scalar(select(func.min(Change.recorded_on)))


def current(model: type[Fact], known: Known | None = None, *, withdrawn: bool = False) -> Select[Any]:
    """
    Select each fact's latest version as known then (None: all that is recorded), as columns of the table.

    Withdrawn facts are left out unless asked for.
    """
    if known is None:
        return _latest(model, withdrawn=withdrawn)
    later = _later(model)
    superseded = _superseded(model).where(later.seq <= known.seq, later.known_on <= known.day)
    statement = select(table_of(model)).where(model.seq <= known.seq, model.known_on <= known.day)
    if not withdrawn:
        statement = statement.where(not_(model.withdrawn))
    return statement.where(~superseded.exists())


@cache
def _latest(model: type[Fact], *, withdrawn: bool) -> Select[Any]:
    """Return the statement for all that is recorded, made once: making it takes longer than asking the database."""
    statement = select(table_of(model)).where(~_superseded(model).exists())
    return statement if withdrawn else statement.where(not_(model.withdrawn))


def _superseded(model: type[Fact]) -> Select[Any]:
    later = _later(model)
    return select(later.id).where(later.fact == model.fact, later.version > model.version, later.version > 1)


@cache
def _later(model: type[Fact]) -> type[Fact]:
    """Return the same table under a second name, made once for the same reason."""
    return aliased(model)


def among(column: InstrumentedAttribute[Any], values: Iterable[Any]) -> ColumnElement[bool]:
    """Condition that keeps at least the rows with these values: a few are asked for, of many everything is read."""
    distinct = set(values)
    return column.in_(distinct) if len(distinct) <= ASKED_ONE_BY_ONE else true()


def base_ids(session: Session) -> dict[str, int]:
    """Bases by name."""
    return _by_name(session, BaseStation, BaseStation.base)


def aircraft_type_ids(session: Session) -> dict[str, int]:
    """Aircraft types by name."""
    return _by_name(session, AircraftType, AircraftType.aircraft_type)


def brake_type_ids(session: Session) -> dict[str, int]:
    """Brake types by part number."""
    return _by_name(session, BrakeType, BrakeType.brake_type)


def aircraft_by_registration(session: Session, on: dt.date) -> dict[str, int]:
    """Aircraft by the registration that they carry on a day."""
    return {name: number for name, number, from_on, to_on in _carried(session) if from_on <= on < to_on}


def brakes_by_serial(session: Session) -> dict[tuple[str, str], int]:
    """Brakes by serial and brake type, since serials may repeat between types."""
    return {(serial, kind): number for serial, kind, number in _brakes(session, true())}


def find_aircraft(
    session: Session, registration: "pd.Series[str]", day: "pd.Series[Any]"
) -> npt.NDArray[np.int64]:
    """Aircraft of each row: who carried the registration on the row's day; NOT_FOUND or SEVERAL where not one."""
    names = registration.tolist()
    days: list[dt.date | None] = day.to_numpy().astype("datetime64[D]").tolist()
    held: dict[str, list[tuple[int, dt.date, dt.date]]] = {}
    for name, number, from_on, to_on in _carried(session, set(names)):
        held.setdefault(name, []).append((number, from_on, to_on))
    return _one_each(
        [number for number, from_on, to_on in held.get(name, ()) if on and from_on <= on < to_on]
        for name, on in zip(names, days, strict=True)
    )


def find_brakes(
    session: Session, serial: "pd.Series[str]", brake_type: "pd.Series[str]"
) -> npt.NDArray[np.int64]:
    """Brake of each row by serial, and brake type where given; NOT_FOUND or SEVERAL where not one."""
    serials, kinds = serial.tolist(), brake_type.tolist()
    known: dict[str, list[tuple[str, int]]] = {}
    for name, kind, number in _brakes(session, among(Brake.serial, serials)):
        known.setdefault(name, []).append((kind, number))
    return _one_each(
        [number for kind, number in known.get(name, ()) if wanted in ("", kind)]
        for name, wanted in zip(serials, kinds, strict=True)
    )


def registrations(
    session: Session, wanted: Iterable[str] | None = None, *, but: Collection[int] = ()
) -> pd.DataFrame:
    """
    Who carried which registration: registration, aircraft, from_on, to_on (from the first day, before the last).

    Renamings that are among `but` are left out, as if they had not been entered.
    """
    spans = _carried(session, wanted, but=but)
    names = pd.DataFrame(spans, columns=["registration", "aircraft", "from_on", "to_on"])
    days = {"from_on": "datetime64[s]", "to_on": "datetime64[s]"}
    return names.astype({"registration": "str", "aircraft": "int64", **days})


def _carried(
    session: Session, wanted: Iterable[str] | None = None, *, but: Collection[int] = ()
) -> list[tuple[str, int, dt.date, dt.date]]:
    """Return `registrations` as rows, by aircraft and day."""
    first = current(Aircraft).with_only_columns(Aircraft.fact, Aircraft.registration)
    renamed = current(AircraftChange).where(AircraftChange.new_registration.is_not(None))
    if but:
        renamed = renamed.where(AircraftChange.fact.not_in(but))
    if wanted is not None:
        asked = set(wanted)
        by_change = select(AircraftChange.aircraft).where(among(AircraftChange.new_registration, asked))
        first = first.where(or_(among(Aircraft.registration, asked), Aircraft.fact.in_(by_change)))
    spans = [(row.fact, dt.date.min, row.registration) for row in session.execute(first)]
    if wanted is not None:
        renamed = renamed.where(among(AircraftChange.aircraft, [number for number, *_ in spans]))
    spans += [(row.aircraft, row.from_on, row.new_registration) for row in session.execute(renamed)]
    spans.sort(key=lambda span: span[:2])
    after = [*spans, (0, dt.date.max, "")][1:]
    return [
        (name, number, from_on, then if number == next_number else dt.date.max)
        for (number, from_on, name), (next_number, then, _) in zip(spans, after, strict=True)
    ]


def brakes_known(session: Session, which: ColumnElement[bool]) -> pd.DataFrame:
    """Brakes that meet a condition: serial, brake_type (the part number), brake."""
    brakes = pd.DataFrame(_brakes(session, which), columns=["serial", "brake_type", "brake"])
    return brakes.astype({"serial": "str", "brake_type": "str", "brake": "int64"})


def _brakes(session: Session, which: ColumnElement[bool]) -> list[tuple[str, str, int]]:
    types = {number: name for name, number in brake_type_ids(session).items()}
    asked = current(Brake).where(which).with_only_columns(Brake.serial, Brake.brake_type, Brake.fact)
    return [(serial, types.get(kind, ""), number) for serial, kind, number in session.execute(asked)]


def _by_name(session: Session, model: type[Fact], name: InstrumentedAttribute[str]) -> dict[str, int]:
    return {row[0]: row[1] for row in session.execute(_names(model, name))}


@cache
def _names(model: type[Fact], name: InstrumentedAttribute[str]) -> Select[str, int]:
    return current(model).with_only_columns(name, model.fact)


def _one_each(found: Iterable[list[int]]) -> npt.NDArray[np.int64]:
    numbers = [each[0] if len(each) == 1 else SEVERAL if each else NOT_FOUND for each in found]
    return np.array(numbers, dtype=np.int64)
