"""Days of a base for which somebody flew, by the records, and nobody has written down the landings."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from db.landing_lines import FLYING_WORDS
from db.lookup import current
from db.records.fleet import Aircraft, AircraftChange, BaseStation
from db.records.readings import Landing

NO_BASE: Final = 0
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class UnreportedDay:
    """A day of a base: aircraft that fly and are not reported, of how many that fly."""

    base: str
    day: dt.date
    aircraft: int
    flying: int


def unreported_days(
    session: Session, *, first: dt.date, last: dt.date, bases: Collection[str] = ()
) -> tuple[UnreportedDay, ...]:
    """
    Return the days from first to last with aircraft not reported, by base and day; `bases` empty is every base.

    An aircraft is reported by a count, zero included, or by a running total. Days before the first landing on record
    are nobody's.
    """
    begun = session.scalar(select(func.min(Landing.day)))
    first = max(first, begun) if begun else first
    days = (last - first).days + 1
    craft = session.execute(current(Aircraft)).all()
    if days <= 0 or not craft:
        return ()
    place = {row.fact: at for at, row in enumerate(craft)}
    at_base, flies = _where(session, craft, place, first, days)
    left = flies & ~_reported(session, place, first, days)
    names = {NO_BASE: "", **{row.fact: row.base for row in session.execute(current(BaseStation))}}
    return tuple(
        UnreportedDay(name, first + dt.timedelta(days=at), int(count), int(flying))
        for number, name in sorted(names.items(), key=lambda each: each[1])
        if not bases or name in ("", *bases)
        for at, (count, flying) in enumerate(
            zip((left & (at_base == number)).sum(0), (flies & (at_base == number)).sum(0), strict=True)
        )
        if count
    )


def _where(
    session: Session, craft: Collection[Any], place: dict[int, int], first: dt.date, days: int
) -> tuple[npt.NDArray[np.int64], Mask]:
    """Return base, and whether it flies, of each (aircraft, day)."""

    def since(day: dt.date | None, otherwise: int) -> int:
        return otherwise if day is None else min(max((day - first).days, 0), days)

    at_base = np.repeat([[row.base or NO_BASE] for row in craft], days, axis=1).astype(np.int64)
    flies = np.ones((len(craft), days), dtype=bool)
    changes = current(AircraftChange).where(AircraftChange.from_on < first + dt.timedelta(days=days))
    for row in session.execute(changes.order_by(AircraftChange.from_on)):
        at, day = place.get(row.aircraft), since(row.from_on, 0)
        if at is None:
            continue
        if row.base is not None:
            at_base[at, day:] = row.base
        if row.status is not None:
            flies[at, day:] = row.status in FLYING_WORDS
    for at, row in enumerate(craft):
        flies[at, : since(row.in_service_on, 0)] = False
        flies[at, since(row.retires_on, days) :] = False
    return at_base, flies


def _reported(session: Session, place: dict[int, int], first: dt.date, days: int) -> Mask:
    told = or_(Landing.full_stops.is_not(None), Landing.total_landings.is_not(None))
    last = first + dt.timedelta(days=days - 1)
    within = current(Landing).where(
        told, Landing.day <= last, func.coalesce(Landing.to_day, Landing.day) >= first
    )
    found = np.zeros((len(place), days), dtype=bool)
    for row in session.execute(within.with_only_columns(Landing.aircraft, Landing.day, Landing.to_day)):
        begins, ends = (row.day - first).days, ((row.to_day or row.day) - first).days
        if row.aircraft in place:
            found[place[row.aircraft], max(begins, 0) : ends + 1] = True
    return found
