"""
Rejected take-offs and overheats, the brakes that were there, and whether an inspection is recorded for each.

An inspection counts for an event if it has a work order, is of the same aircraft and position (or of the whole
aircraft), is not dated before the event, and was not recorded before it.
"""

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.fleet_on import positions, registrations_of, types_of_aircraft
from db.lookup import among, current
from db.records.brakes import Occupancy
from db.records.readings import Event, Landing

NOTICED: Final = ("rejected take-off", "overheat")
INSPECTION: Final = "inspection"
# A notice with its inspection stays in sight for so long; on the brake's record it stays for good.
SHOWN_FOR: Final = dt.timedelta(days=30)


@dataclass(frozen=True)
class Inspection:
    """An inspection on record."""

    record: int
    day: dt.date
    work_order: str


@dataclass(frozen=True)
class Notice:
    """
    An event of one position ("" is the whole aircraft), the brakes that were there, and its inspection once recorded.

    `wheels` are the brake positions of the aircraft's type.
    """

    record: int
    kind: str
    aircraft: int
    registration: str
    day: dt.date
    position: str
    brakes: frozenset[int]
    speed_kt: float | None
    mass_kg: float | None
    wheels: int
    inspection: Inspection | None


@dataclass(frozen=True)
class UntoldTakeoff:
    """Landings on record that tell of a rejected take-off of which there is no event."""

    record: int
    registration: str
    aircraft: int
    day: dt.date


def notices(
    session: Session, *, aircraft: Collection[int] | None = None, brakes: Collection[int] = ()
) -> tuple[Notice, ...]:
    """Return the notices of these aircraft, and of these brakes wherever they were; of all if none is named."""
    wanted = None if aircraft is None else {*aircraft, *_aircraft_of(session, brakes)}
    rows = current(Event).where(Event.event.in_((*NOTICED, INSPECTION)))
    if wanted is not None:
        rows = rows.where(among(Event.aircraft, wanted))
    every = session.execute(rows.order_by(Event.day, Event.fact)).all()
    told = [row for row in every if row.event in NOTICED and (wanted is None or row.aircraft in wanted)]
    if not told:
        return ()
    book = _Book(session, every, {row.aircraft for row in told})
    found = map(book.notice, told)
    ours, own = set(aircraft or ()), set(brakes)
    return tuple(each for each in found if aircraft is None or each.aircraft in ours or each.brakes & own)


def open_notices(session: Session) -> tuple[Notice, ...]:
    """Return the notices of the whole fleet without an inspection, the oldest first."""
    return tuple(each for each in notices(session) if each.inspection is None)


def in_sight(found: Iterable[Notice], *, on: dt.date) -> tuple[Notice, ...]:
    """Leave out the notices whose inspection is some time past."""
    return tuple(each for each in found if each.inspection is None or each.inspection.day >= on - SHOWN_FOR)


def untold_takeoffs(session: Session) -> tuple[UntoldTakeoff, ...]:
    """Return the landings that tell of a rejected take-off without an event of it, the oldest first."""
    rows = session.execute(current(Landing).where(Landing.rejected_takeoffs > 0).order_by(Landing.day)).all()
    told = current(Event).where(Event.event == NOTICED[0])
    days: dict[int, list[dt.date]] = {}
    for event in session.execute(told.where(among(Event.aircraft, {row.aircraft for row in rows}))):
        days.setdefault(event.aircraft, []).append(event.day)
    untold = [
        row
        for row in rows
        if not any(row.day <= day <= (row.to_day or row.day) for day in days.get(row.aircraft, ()))
    ]
    names = registrations_of(session, {row.aircraft for row in untold})
    return tuple(UntoldTakeoff(row.fact, names[row.aircraft], row.aircraft, row.day) for row in untold)


def _aircraft_of(session: Session, brakes: Collection[int]) -> set[int]:
    stays = select(Occupancy.aircraft).where(among(Occupancy.brake, brakes))
    return set(session.scalars(stays)) if brakes else set()


class _Book:
    """The events of some aircraft, with what was where."""

    def __init__(self, session: Session, events: Sequence[Any], aircraft: Collection[int]) -> None:
        self.seen = [row for row in events if row.event == INSPECTION and row.work_order]
        of_type = {
            kind: tuple(rows["position"]) for kind, rows in positions(session).groupby("aircraft_type")
        }
        types = types_of_aircraft(session, aircraft)
        self.places = {number: of_type.get(kind, ()) for number, kind in types.items()}
        first = select(Event.fact, Event.seq).where(
            Event.version == 1, among(Event.fact, [row.fact for row in events])
        )
        self.came = {row.fact: row.seq for row in session.execute(first)}
        self.stays = session.scalars(select(Occupancy).where(among(Occupancy.aircraft, aircraft))).all()
        self.names = registrations_of(session, aircraft)

    def notice(self, event: Any) -> Notice:  # noqa: ANN401 - a row
        """One event with its brakes and its inspection."""
        there = self.places[event.aircraft]
        return Notice(
            record=event.fact,
            kind=event.event,
            aircraft=event.aircraft,
            registration=self.names[event.aircraft],
            day=event.day,
            position=event.position or "",
            brakes=frozenset(_there(self.stays, event)),
            speed_kt=event.speed_kt,
            mass_kg=event.mass_kg,
            wheels=len(there),
            inspection=_inspection(self._later(event), event.position or "", there),
        )

    def _later(self, event: Any) -> list[Any]:  # noqa: ANN401 - a row
        return [
            each
            for each in self.seen
            if each.aircraft == event.aircraft
            and each.day >= event.day
            and self.came[each.fact] >= self.came[event.fact]
        ]


def _there(stays: Iterable[Occupancy], event: Any) -> set[int]:  # noqa: ANN401 - a row
    """Brakes in the position on the day; of two that changed places that day both."""
    return {
        stay.brake
        for stay in stays
        if stay.aircraft == event.aircraft
        and (not event.position or stay.position == event.position)
        and stay.from_on <= event.day <= (stay.to_on or dt.date.max)
    }


def _inspection(seen: list[Any], position: str, there: tuple[str, ...]) -> Inspection | None:
    """The first inspection after which the position, or for the whole aircraft each position, has been inspected."""
    wanted = {position} if position else set(there)
    for each in seen:
        wanted -= {each.position} if each.position else wanted.copy()
        if not wanted:
            return Inspection(each.fact, each.day, each.work_order)
    return None
