"""When the brakes of a base's aircraft were last read: which aircraft have waited longest for a look."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from db.landing_lines import lines_of_base
from db.lookup import among, base_ids, current
from db.records.brakes import Occupancy
from db.records.readings import PinReading


@dataclass(frozen=True)
class LastLook:
    """One aircraft: its brakes, how many were not read since they went on, and the oldest of their last looks."""

    registration: str
    brakes: int
    unread: int
    read_on: dt.date | None


def last_looks(session: Session, base: str, *, on: dt.date) -> tuple[LastLook, ...]:
    """Return the aircraft that fly from a base on a day, those with unread brakes and the oldest looks first."""
    lines = {
        each.aircraft: each for each in lines_of_base(session, base_ids(session).get(base), on) if each.flies
    }
    fitted = select(Occupancy).where(
        among(Occupancy.aircraft, lines),
        Occupancy.from_on <= on,
        or_(Occupancy.to_on.is_(None), Occupancy.to_on > on),
    )
    stays = [stay for stay in session.scalars(fitted) if stay.aircraft in lines]
    read = current(PinReading).where(
        among(PinReading.brake, {stay.brake for stay in stays}), PinReading.day <= on
    )
    latest = read.with_only_columns(PinReading.brake, func.max(PinReading.day).label("day"))
    days = {row.brake: row.day for row in session.execute(latest.group_by(PinReading.brake))}
    found = [
        _look(lines[number].registration, [stay for stay in stays if stay.aircraft == number], days)
        for number in {stay.aircraft for stay in stays}
    ]
    return tuple(sorted(found, key=lambda each: (each.read_on or dt.date.min, each.registration)))


def _look(registration: str, stays: list[Occupancy], days: dict[int, dt.date]) -> LastLook:
    read = [days[stay.brake] for stay in stays if days.get(stay.brake, dt.date.min) >= stay.from_on]
    return LastLook(registration, len(stays), len(stays) - len(read), min(read, default=None))
