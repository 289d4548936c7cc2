"""Moves that somebody began and nobody finished: an empty position on an aircraft, a brake off with no place."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from db.based import bases_of
from db.fleet_on import positions, registrations_of, types_of_aircraft
from db.lookup import among, current
from db.records.brakes import Occupancy
from db.records.fleet import Aircraft, AircraftChange
from db.records.readings import Landing
from db.whereabouts import off_without_place, whereabouts


@dataclass(frozen=True)
class EmptyPosition:
    """A position without a brake since a day, and how many days with landings were written down after that day."""

    registration: str
    position: str
    base: str
    since: dt.date
    days_flown: int


@dataclass(frozen=True)
class Placeless:
    """A brake that came off, of which no record says where it went."""

    serial: str
    brake_type: str
    base: str
    registration: str
    position: str
    since: dt.date | None


@dataclass(frozen=True)
class HalfDone:
    """All of them, the oldest first."""

    empty: tuple[EmptyPosition, ...]
    placeless: tuple[Placeless, ...]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.empty) + len(self.placeless)


def half_done(session: Session, *, on: dt.date) -> HalfDone:
    """Return the moves half done, as known now; `on` decides by which base an aircraft is told."""
    return HalfDone(_empty_positions(session, on), _placeless(session, on))


def _empty_positions(session: Session, on: dt.date) -> tuple[EmptyPosition, ...]:
    """Positions that had a brake once and have none, on aircraft that fly."""
    last = func.max(func.coalesce(Occupancy.to_on, dt.date.max)).label("until")
    ended = select(Occupancy.aircraft, Occupancy.position, last)
    ended = ended.group_by(Occupancy.aircraft, Occupancy.position).having(last < dt.date.max)
    rows = session.execute(ended).all()
    aircraft = {row.aircraft for row in rows}
    grounded = _not_flying(session, aircraft, on)
    named, of_type = registrations_of(session, aircraft), types_of_aircraft(session, aircraft)
    there = set(positions(session)[["aircraft_type", "position"]].itertuples(index=False, name=None))
    found = [
        EmptyPosition(
            named[row.aircraft],
            row.position,
            next(iter(bases_of(session, "aircraft", [row.aircraft], on=on))),
            since=row.until,
            days_flown=_days_flown(session, row.aircraft, row.until),
        )
        for row in rows
        if row.aircraft not in grounded and (of_type[row.aircraft], row.position) in there
    ]
    return tuple(sorted(found, key=lambda each: (each.since, each.registration, each.position)))


def _not_flying(session: Session, aircraft: set[int], on: dt.date) -> set[int]:
    """Aircraft that are retired, or whose latest status is another than flying."""
    retired = current(Aircraft).where(among(Aircraft.fact, aircraft), Aircraft.retires_on <= on)
    gone = set(session.scalars(retired.with_only_columns(Aircraft.fact)))
    said = current(AircraftChange).where(
        among(AircraftChange.aircraft, aircraft),
        AircraftChange.status.is_not(None),
        AircraftChange.from_on <= on,
    )
    status = {row.aircraft: row.status for row in session.execute(said.order_by(AircraftChange.from_on))}
    return gone | {number for number, word in status.items() if word != "flying"}


def _days_flown(session: Session, aircraft: int, since: dt.date) -> int:
    flown = current(Landing).where(Landing.aircraft == aircraft, Landing.day > since, Landing.full_stops > 0)
    return session.execute(flown.with_only_columns(func.count())).scalar_one()


def _placeless(session: Session, on: dt.date) -> tuple[Placeless, ...]:
    found = whereabouts(session, off_without_place(session))
    told = [
        Placeless(
            each.serial,
            each.brake_type,
            next(iter(bases_of(session, "brakes", [each.brake], on=on))),
            registration=each.registration,
            position=each.position,
            since=each.since,
        )
        for each in found.values()
    ]
    return tuple(sorted(told, key=lambda each: (each.since or dt.date.min, each.serial)))
