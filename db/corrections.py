"""What was corrected and withdrawn, the latest first, and which readings wait for a second person's word."""

from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import literal, select, union_all
from sqlalchemy.orm import Session

from db.lookup import current
from db.recorded import KINDS, Recorded, Version, read_record
from db.records.readings import PinReading, Ruling


@dataclass(frozen=True)
class Change:
    """One correction or withdrawal: the record, the version before, and the version that came."""

    record: Recorded
    before: Version
    after: Version

    @property
    def differences(self) -> tuple[tuple[str, str, str], ...]:
        """Column, value before, value after."""
        columns = dict.fromkeys((*self.before.told, *self.after.told))
        told = ((name, self.before.told.get(name, ""), self.after.told.get(name, "")) for name in columns)
        return tuple(each for each in told if each[1] != each[2])


def changes_before(session: Session, seq: int, *, most: int) -> Iterator[Change]:
    """Corrections and withdrawals with a lower sequence number, the latest first."""
    # A later version has a version that it supersedes, which an index finds; an end filled in has no reason.
    asked = [
        select(literal(kind).label("kind"), model.id, model.seq)
        .where(model.supersedes.is_not(None), model.reason.is_not(None), model.seq < seq)
        .order_by(model.seq.desc())
        .limit(most)
        .subquery()
        for kind, model in KINDS.items()
    ]
    every = union_all(*(select(each.c.id, each.c.seq) for each in asked)).subquery()
    latest = select(every.c.id).order_by(every.c.seq.desc(), every.c.id).limit(most)
    for number in session.scalars(latest).all():
        record = read_record(session, number)
        place = next(i for i, each in enumerate(record.versions) if each.record == number)
        yield Change(record, record.versions[place - 1], record.versions[place])


def held_readings(session: Session, *, most: int) -> list[Recorded]:
    """Readings that wait for a second person's word, those that wait longest first."""
    ruled = current(Ruling).with_only_columns(Ruling.reading)
    waiting = current(PinReading).where(PinReading.state == "held", PinReading.fact.not_in(ruled))
    numbers = session.scalars(waiting.with_only_columns(PinReading.fact).order_by(PinReading.id).limit(most))
    return [read_record(session, number) for number in numbers.all()]
