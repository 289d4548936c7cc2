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


def known_by(session: Session, known_on: dt.date | None = None) -> Known:
    """
    Return the point of what is known now, or was known by a day.

    A kept point gives the same answer for ever: what lands later has a higher sequence number, back-dated or not.
    """
    seq = session.execute(select(ChainHead.seq)).scalar_one()
    day = known_on or session.execute(select(func.max(Change.recorded_on))).scalar_one()
    return Known(seq, day or dt.date.min)


def current(model: type[Fact], known: Known | None = None, *, withdrawn: bool = False) -> Select[Any]:
    """
    Select each fact's latest version as known then (None: all that is recorded), as columns of the table.

    Withdrawn facts are left out unless asked for.
    """
    later = _later(model)
    superseded = select(later.id).where(
        later.fact == model.fact, later.version > model.version, later.version > 1
    )
    statement = select(table_of(model))
    if known is not None:
        statement = statement.where(model.seq <= known.seq, model.known_on <= known.day)
        superseded = superseded.where(later.seq <= known.seq, later.known_on <= known.day)
    if not withdrawn:
        statement = statement.where(not_(model.withdrawn))
    return statement.where(~superseded.exists())


@cache
def _later(model: type[Fact]) -> type[Fact]:
    """Return the same table under a second name, made once: making it takes longer than asking the database."""
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
    names = registrations(session)
    day = pd.Timestamp(on)
    held = names[(names["from_on"] <= day) & (day < names["to_on"])]
    return dict(zip(held["registration"], held["aircraft"].tolist(), strict=True))


def brakes_by_serial(session: Session) -> dict[tuple[str, str], int]:
    """Brakes by serial and brake type, since serials may repeat between types."""
    brakes = brakes_known(session, true())
    return dict(
        zip(zip(brakes["serial"], brakes["brake_type"], strict=True), brakes["brake"].tolist(), strict=True)
    )


def find_aircraft(
    session: Session, registration: "pd.Series[str]", day: "pd.Series[Any]"
) -> npt.NDArray[np.int64]:
    """Aircraft of each row: who carried the registration on the row's day; NOT_FOUND or SEVERAL where not one."""
    asked = pd.DataFrame({"registration": registration.to_numpy(), "day": day.to_numpy()})
    asked["place"] = np.arange(len(asked))
    found = asked.merge(registrations(session, set(asked["registration"])), on="registration")
    found = found[(found["from_on"] <= found["day"]) & (found["day"] < found["to_on"])]
    return _one_each(found["place"], found["aircraft"], len(asked))


def find_brakes(
    session: Session, serial: "pd.Series[str]", brake_type: "pd.Series[str]"
) -> npt.NDArray[np.int64]:
    """Brake of each row by serial, and brake type where given; NOT_FOUND or SEVERAL where not one."""
    asked = pd.DataFrame({"serial": serial.to_numpy(), "wanted": brake_type.to_numpy()})
    asked["place"] = np.arange(len(asked))
    found = asked.merge(brakes_known(session, among(Brake.serial, asked["serial"])), on="serial")
    found = found[(found["wanted"] == "") | (found["wanted"] == found["brake_type"])]
    return _one_each(found["place"], found["brake"], len(asked))


def registrations(
    session: Session, wanted: Iterable[str] | None = None, *, but: Collection[int] = ()
) -> pd.DataFrame:
    """
    Who carried which registration: registration, aircraft, from_on, to_on (from the first day, before the last).

    Renamings that are among `but` are left out, as if they had not been entered.
    """
    first = current(Aircraft).with_only_columns(Aircraft.fact, Aircraft.registration)
    renamed = current(AircraftChange).where(
        AircraftChange.new_registration.is_not(None), AircraftChange.fact.not_in(but)
    )
    if wanted is not None:
        asked = set(wanted)
        by_change = select(AircraftChange.aircraft).where(among(AircraftChange.new_registration, asked))
        first = first.where(or_(among(Aircraft.registration, asked), Aircraft.fact.in_(by_change)))
        renamed = renamed.where(among(AircraftChange.aircraft, [row.fact for row in session.execute(first)]))
    spans = [(row.registration, row.fact, dt.date.min) for row in session.execute(first)]
    spans += [(row.new_registration, row.aircraft, row.from_on) for row in session.execute(renamed)]
    names = pd.DataFrame(spans, columns=["registration", "aircraft", "from_on"])
    names = names.astype({"registration": "str", "aircraft": "int64", "from_on": "datetime64[s]"})
    names = names.sort_values(["aircraft", "from_on"], ignore_index=True)
    ends = names.groupby("aircraft")["from_on"].shift(-1)
    return names.assign(to_on=ends.fillna(pd.Timestamp(dt.date.max).as_unit("s")))


def brakes_known(session: Session, which: ColumnElement[bool]) -> pd.DataFrame:
    """Brakes that meet a condition: serial, brake_type (the part number), brake."""
    types = {number: name for name, number in brake_type_ids(session).items()}
    rows = session.execute(
        current(Brake).where(which).with_only_columns(Brake.serial, Brake.brake_type, Brake.fact)
    )
    brakes = pd.DataFrame(rows.all(), columns=["serial", "brake_type", "brake"])
    brakes["brake_type"] = brakes["brake_type"].map(types)
    return brakes.astype({"serial": "str", "brake_type": "str", "brake": "int64"})


def _by_name(session: Session, model: type[Fact], name: InstrumentedAttribute[str]) -> dict[str, int]:
    rows = session.execute(current(model).with_only_columns(name, model.fact))
    return {row[0]: row[1] for row in rows}


def _one_each(place: "pd.Series[int]", number: "pd.Series[int]", rows: int) -> npt.NDArray[np.int64]:
    answer = np.full(rows, NOT_FOUND, dtype=np.int64)
    places = place.to_numpy(dtype=np.int64)
    answer[places] = number.to_numpy(dtype=np.int64)
    answer[np.bincount(places, minlength=rows) > 1] = SEVERAL
    return answer
