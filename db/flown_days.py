"""Braked landings of a few brakes between two days, by the log: an estimate where days are not reported."""

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from db.lookup import among, current
from db.records.brakes import Deactivation, Occupancy
from db.records.readings import Landing

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# The pace of days that nobody has reported is that of so many days before, and of the last on record.
PACE_DAYS: Final = 90
# Landings a day before anything is on record, and how unsure unreported days are (common practice, no source).
PACE_UNKNOWN: Final = 4.0
UNSURE: Final = 0.6


@dataclass(frozen=True)
class Flown:
    """Braked landings, and the standard deviation that unreported days leave."""

    landings: float
    sd: float


@dataclass(frozen=True)
class FlownDays:
    """Landings of each day from `first` on, by aircraft, whether they are reported, and where the brakes were."""

    first: dt.date
    landings: Mapping[int, Floats]
    reported: Mapping[int, Mask]
    stays: Mapping[int, tuple[tuple[int, dt.date, dt.date | None], ...]]
    idle: Mapping[int, tuple[tuple[dt.date, dt.date | None], ...]]

    def between(self, brake: int, after: dt.date, until: dt.date) -> Flown:
        """Landings on the days after the first, through the last; negative where the last comes before the first."""
        if until < after:
            back = self.between(brake, until, after)
            return Flown(-back.landings, back.sd)
        total, unsure = 0.0, 0.0
        for aircraft, from_on, to_on in self.stays.get(brake, ()):
            # Work follows the day's flying: the day a brake goes on is not its own, the day it comes off is.
            counted = self._days(max(after, from_on), min(until, to_on or until))
            for begun, ended in self.idle.get(brake, ()):
                counted &= ~self._days(begun, ended or until)
            total += float(self.landings[aircraft][counted].sum())
            unsure += float(self.landings[aircraft][counted & ~self.reported[aircraft]].sum())
        return Flown(total, UNSURE * unsure)

    def _days(self, after: dt.date, until: dt.date) -> Mask:
        day = np.arange(next((len(each) for each in self.landings.values()), 0))
        return np.asarray((day > (after - self.first).days) & (day <= (until - self.first).days))


def flown_days(session: Session, brakes: Collection[int], *, since: dt.date, until: dt.date) -> FlownDays:
    """Read what is needed to count landings of these brakes between two days."""
    first = since - dt.timedelta(days=PACE_DAYS)
    stays, idle = _stays(session, brakes), _idle(session, brakes)
    aircraft = {stay[0] for of_brake in stays.values() for stay in of_brake}
    count = (until - first).days + 1
    landings = {each: np.full(count, np.nan) for each in aircraft}
    totals: dict[int, list[tuple[int, int, float]]] = {}
    last_day = func.coalesce(Landing.to_day, Landing.day)
    rows = current(Landing).where(Landing.aircraft.in_(aircraft), last_day >= first, Landing.day <= until)
    for row in session.execute(rows.order_by(Landing.day)):
        begun, ended = (row.day - first).days, ((row.to_day or row.day) - first).days
        if row.full_stops is not None:
            each = (row.full_stops + (row.rejected_takeoffs or 0)) / (ended - begun + 1)
            landings[row.aircraft][max(begun, 0) : ended + 1] = each
        if row.total_landings is not None and 0 <= ended < count:
            totals.setdefault(row.aircraft, []).append((row.counter, ended, row.total_landings))
    for each, known in totals.items():
        _fill_by_totals(landings[each], known)
    reported = {each: ~np.isnan(days) for each, days in landings.items()}
    for days in landings.values():
        _fill_by_pace(days)
    return FlownDays(first, landings, reported, stays, idle)


def _stays(
    session: Session, brakes: Collection[int]
) -> dict[int, tuple[tuple[int, dt.date, dt.date | None], ...]]:
    found: dict[int, list[tuple[int, dt.date, dt.date | None]]] = {}
    for row in session.execute(select(Occupancy).where(among(Occupancy.brake, brakes))).scalars():
        found.setdefault(row.brake, []).append((row.aircraft, row.from_on, row.to_on))
    return {brake: tuple(stays) for brake, stays in found.items()}


def _idle(session: Session, brakes: Collection[int]) -> dict[int, tuple[tuple[dt.date, dt.date | None], ...]]:
    found: dict[int, list[tuple[dt.date, dt.date | None]]] = {}
    for row in session.execute(current(Deactivation).where(among(Deactivation.brake, brakes))):
        found.setdefault(row.brake, []).append((row.from_on, row.to_on))
    return {brake: tuple(spans) for brake, spans in found.items()}


def _fill_by_totals(landings: Floats, totals: list[tuple[int, int, float]]) -> None:
    """Unreported days between two totals of one counter share what the reported ones leave."""
    for (counter, begun, before), (same, ended, after) in pairwise(totals):
        days = landings[begun + 1 : ended + 1]
        blank = np.isnan(days)
        if counter == same and blank.any():
            rest = after - before - days[~blank].sum()
            days[blank] = rest / blank.sum() if rest >= 0 else np.nan


def _fill_by_pace(landings: Floats) -> None:
    """Days that nobody has reported have the pace of the reported ones."""
    blank = np.isnan(landings)
    if blank.any():
        recent = landings[~blank][-PACE_DAYS:]
        landings[blank] = recent.mean() if recent.size else PACE_UNKNOWN
