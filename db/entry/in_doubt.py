"""Accepted readings that a correction makes doubtful: they stay as they are, and wait for a second person's word."""

from collections.abc import Collection, Mapping

from sqlalchemy import delete, func, insert, or_, select
from sqlalchemy.orm import Session

from db.base import table_of
from db.entry.readings import doubtful_readings
from db.lookup import among
from db.recorded import KINDS, Recorded
from db.records.brakes import Installation, Occupancy, Removal
from db.records.checks import DoubtedReading
from db.records.readings import Landing


def doubted_by(session: Session, found: Recorded) -> dict[int, str]:
    """Return the readings that would be doubted now of the brakes that a record is about, by record number, and why."""
    numbers = _brakes(session, found)
    return doubtful_readings(session, sorted(numbers)) if numbers else {}


def keep_doubts(
    session: Session, before: Mapping[int, str], after: Mapping[int, str], *, correction: int
) -> dict[int, str]:
    """Keep what a correction (its sequence number) put in doubt, drop what it settled, and return what is new."""
    newly = {number: why for number, why in after.items() if number not in before}
    _drop(session, {*newly, *(number for number in before if number not in after)})
    rows = [{"record": number, "correction": correction, "why": why} for number, why in newly.items()]
    if rows:
        session.execute(insert(table_of(DoubtedReading)), rows)
    return newly


def _drop(session: Session, records: Collection[int]) -> None:
    session.execute(delete(DoubtedReading).where(DoubtedReading.record.in_(records)))


def _brakes(session: Session, found: Recorded) -> set[int]:
    """Brakes that any version of the record is about; of landings those that were on the aircraft."""
    model = KINDS[found.kind]
    if found.kind == "removals":
        stays = select(Installation.brake).join(Removal, Removal.installation == Installation.fact)
        return set(session.scalars(stays.where(Removal.fact == found.fact)))
    if found.kind == "landings":
        return _on_aircraft(session, found.fact)
    if found.kind != "brakes" and hasattr(model, "brake"):
        return set(
            session.scalars(select(model.brake).where(model.fact == found.fact, model.brake.is_not(None)))
        )
    return set()


def _on_aircraft(session: Session, landing: int) -> set[int]:
    last = func.coalesce(Landing.to_day, Landing.day)
    # Most versions tell of the same days on the same aircraft.
    spans = select(Landing.aircraft, Landing.day, last).where(Landing.fact == landing).distinct()
    brakes: set[int] = set()
    for aircraft, first_on, last_on in session.execute(spans).all():
        there = select(Occupancy.brake).where(
            among(Occupancy.aircraft, [aircraft]),
            Occupancy.from_on <= last_on,
            or_(Occupancy.to_on.is_(None), Occupancy.to_on >= first_on),
        )
        brakes |= set(session.scalars(there))
    return brakes
