"""One aircraft's positions and what is on each of them now, with what is odd about it."""

import datetime as dt
from dataclasses import dataclass

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.base import table_of
from db.entry.fits import fit_flags
from db.errors import NotFoundError
from db.fleet_on import positions, types_of_aircraft
from db.frames import frame_of, records
from db.lookup import NOT_FOUND, among, brakes_known, find_aircraft
from db.records.brakes import Brake, Occupancy


@dataclass(frozen=True)
class Fitted:
    """One position; serial and brake type are empty where no brake is on it."""

    position: str
    group: str
    brake: int = 0
    serial: str = ""
    brake_type: str = ""
    since: dt.date | None = None
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class FittedAircraft:
    """An aircraft with its positions in the order of its type."""

    aircraft: int
    registration: str
    positions: tuple[Fitted, ...]


def fitted_on(session: Session, registration: str, *, on: dt.date) -> FittedAircraft:
    """Return what is on the aircraft that carries this registration on a day."""
    day = pd.Series([pd.Timestamp(on)]).astype("datetime64[s]")
    aircraft = int(find_aircraft(session, pd.Series([registration], dtype="str"), day)[0])
    if aircraft <= NOT_FOUND:
        raise NotFoundError(f"no aircraft carries the registration {registration!r} on {on}; check it")
    of_type = positions(session)
    of_type = of_type[of_type["aircraft_type"] == types_of_aircraft(session, [aircraft])[aircraft]]
    still = select(table_of(Occupancy)).where(Occupancy.aircraft == aircraft, Occupancy.to_on.is_(None))
    stays = frame_of(session, still)
    names = {row["brake"]: row for row in records(brakes_known(session, among(Brake.fact, stays["brake"])))}
    flags = _flags(session, stays)
    there = {
        stay["position"]: (
            stay["brake"],
            names[stay["brake"]]["serial"],
            names[stay["brake"]]["brake_type"],
            stay["from_on"].date(),
            flags.get(at, ()),
        )
        for at, stay in enumerate(records(stays))
    }
    return FittedAircraft(
        aircraft,
        registration,
        tuple(
            Fitted(row["position"], row["position_group"], *there.get(row["position"], ()))
            for row in records(of_type)
        ),
    )


def _flags(session: Session, stays: pd.DataFrame) -> dict[int, tuple[str, ...]]:
    """Say what is odd about each stay by the effectivity of the day it began; nothing is kept, so it never ages."""
    placed = stays.rename(columns={"from_on": "installed_on"}).assign(row=range(len(stays)))
    found: dict[int, tuple[str, ...]] = {}
    for flag in fit_flags(session, placed):
        found[flag.row] = (*found.get(flag.row, ()), flag.text)
    return found
