"""The lines of a landings sheet: a base's aircraft on a day, what is on record for each, its running total before."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Row, func, select
from sqlalchemy.orm import Session

from db.lookup import among, current
from db.records.fleet import Aircraft, AircraftChange
from db.records.readings import CounterChange, Landing

FLYING: Final = "flying"
# Totals are read this often at least, and no period is longer, or the page looks further.
NEAR: Final = dt.timedelta(days=60)
# Where an aircraft flies for us; what stands elsewhere is on the sheet, and nobody waits for its line.
FLYING_WORDS: Final = (FLYING, "deployed")


@dataclass(frozen=True)
class Reported:
    """What is on record for the day: record number, counts and running total, None where not reported."""

    record: int
    day: dt.date
    to_day: dt.date | None
    full_stops: int | None
    touch_and_gos: int | None
    rejected_takeoffs: int | None
    total_landings: int | None


@dataclass(frozen=True)
class AircraftLine:
    """
    One aircraft of the sheet.

    `total_before` is the running total by the end of the day before (the last one on record and the landings written
    down since), None where none is on record; `total_on` the day of the last one on record.
    """

    aircraft: int
    registration: str
    status: str
    reported: Reported | None
    total_before: int | None
    total_on: dt.date | None

    @property
    def flies(self) -> bool:
        """Whether somebody waits for its line."""
        return self.status in FLYING_WORDS


@dataclass(frozen=True)
class _Craft:
    aircraft: int
    registration: str
    base: int | None
    status: str
    in_use: bool


def lines_of_base(
    session: Session, base: int | None, day: dt.date, *, also: Collection[int] = ()
) -> tuple[AircraftLine, ...]:
    """Return the lines of a base on a day by registration, those that fly first; `also` are aircraft to add."""
    craft = [
        each for each in _craft_on(session, base, day, also) if each.aircraft in also or (each.base == base)
    ]
    wanted = {each.aircraft for each in craft}
    reported = _reported(session, wanted, day)
    totals = _totals_before(session, wanted, day)
    lines = [
        AircraftLine(
            each.aircraft,
            each.registration,
            each.status,
            reported.get(each.aircraft),
            *totals.get(each.aircraft, (None, None)),
        )
        for each in craft
        if each.in_use or each.aircraft in reported
    ]
    return tuple(sorted(lines, key=lambda each: (not each.flies, each.registration)))


def _craft_on(session: Session, base: int | None, day: dt.date, also: Collection[int]) -> list[_Craft]:
    """Return aircraft that may be of this base on the day, as they are then."""
    came = select(AircraftChange.aircraft).where(AircraftChange.base == base, AircraftChange.from_on <= day)
    at_first = Aircraft.base.is_(None) if base is None else Aircraft.base == base
    first = current(Aircraft).where(at_first | Aircraft.fact.in_(came) | among(Aircraft.fact, also))
    found = {row.fact: row for row in session.execute(first)}
    changes = current(AircraftChange).where(
        among(AircraftChange.aircraft, found), AircraftChange.from_on <= day
    )
    told: dict[int, dict[str, Any]] = {number: {} for number in found}
    for row in session.execute(changes.order_by(AircraftChange.from_on)):
        new = {"registration": row.new_registration, "base": row.base, "status": row.status}
        if row.aircraft in told:
            told[row.aircraft] |= {name: value for name, value in new.items() if value is not None}
    return [_as_told(row, told[number], day) for number, row in found.items()]


def _as_told(row: Row[Any], told: dict[str, Any], day: dt.date) -> _Craft:
    status = told.get("status", FLYING)
    serves = (row.in_service_on or dt.date.min) <= day < (row.retires_on or dt.date.max)
    return _Craft(
        row.fact,
        told.get("registration", row.registration),
        told.get("base", row.base),
        status,
        serves and status != "sold",
    )


def _reported(session: Session, aircraft: Collection[int], day: dt.date) -> dict[int, Reported]:
    rows = current(Landing).where(
        Landing.aircraft.in_(aircraft), Landing.day <= day, func.coalesce(Landing.to_day, Landing.day) >= day
    )
    return {
        row.aircraft: Reported(
            row.fact,
            row.day,
            row.to_day,
            row.full_stops,
            row.touch_and_gos,
            row.rejected_takeoffs,
            row.total_landings,
        )
        for row in session.execute(rows)
    }


def _totals_before(
    session: Session, aircraft: Collection[int], day: dt.date
) -> dict[int, tuple[int, dt.date]]:
    """Return for each aircraft the running total by the evening before, and the day it was last read."""
    ended = func.coalesce(Landing.to_day, Landing.day)
    before = current(Landing).where(Landing.aircraft.in_(aircraft), Landing.day < day, ended < day)
    latest = (
        before.where(Landing.total_landings.is_not(None))
        .with_only_columns(Landing.aircraft, func.max(ended).label("read_on"))
        .group_by(Landing.aircraft)
    )
    # Most are near; the whole log is read only for those that are not.
    read_on = {row.aircraft: row.read_on for row in session.execute(latest.where(Landing.day >= day - NEAR))}
    if left := set(aircraft) - set(read_on):
        far = session.execute(latest.where(Landing.aircraft.in_(left)))
        read_on |= {row.aircraft: row.read_on for row in far}
    if not read_on:
        return {}
    begins = min(map(_day, read_on.values()))
    since = before.where(ended >= begins).order_by(Landing.day)
    totals: dict[int, int] = {}
    for row in session.execute(since):
        last = row.to_day or row.day
        on = _day(read_on[row.aircraft]) if row.aircraft in read_on else dt.date.max
        if last == on:
            totals[row.aircraft] = row.total_landings
        elif last > on:
            totals[row.aircraft] += (row.full_stops or 0) + (row.touch_and_gos or 0)
    found = {number: (total, _day(read_on[number])) for number, total in totals.items()}
    return found | _new_counters(session, found, day)


def _new_counters(
    session: Session, totals: dict[int, tuple[int, dt.date]], day: dt.date
) -> dict[int, tuple[int, dt.date]]:
    """Return where a counter begun after the last total was read began."""
    changes = current(CounterChange).where(CounterChange.aircraft.in_(totals), CounterChange.day <= day)
    rows = session.execute(changes.order_by(CounterChange.day))
    return {row.aircraft: (row.starts_at, row.day) for row in rows if row.day > totals[row.aircraft][1]}


def _day(value: Any) -> dt.date:  # noqa: ANN401 - SQLite tells the result of a function as text
    return value if isinstance(value, dt.date) else dt.date.fromisoformat(str(value))
