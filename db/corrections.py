"""What was corrected and withdrawn, the latest first, and which readings wait for a second person's word."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import BigInteger, ColumnElement, Select, bindparam, func, literal, select, union_all
from sqlalchemy.orm import InstrumentedAttribute, Session

from db.loaded import LoadMade, load_of
from db.lookup import current
from db.recorded import KINDS, Recorded, Version, read_record, read_records
from db.records.checks import DoubtedReading
from db.records.loads import LoadWithdrawal
from db.records.log import Change as LoggedChange
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


@dataclass(frozen=True)
class LoadWithdrawn:
    """A load withdrawn whole: all its rows went in the changes of this span of sequence numbers."""

    load: LoadMade
    first_seq: int
    last_seq: int


def withdrawn_loads(session: Session, seq: int, *, most: int) -> list[LoadWithdrawn]:
    """Loads withdrawn whole below a sequence number, the latest first."""
    asked = select(LoadWithdrawal).where(LoadWithdrawal.last_seq < seq)
    rows = session.scalars(asked.order_by(LoadWithdrawal.last_seq.desc()).limit(most)).all()
    return [LoadWithdrawn(load_of(session, row.load), row.first_seq, row.last_seq) for row in rows]


def changes_before(session: Session, seq: int, *, most: int, load: int | None = None) -> Iterator[Change]:
    """
    Corrections and withdrawals with a lower sequence number, the latest first.

    Rows that went with a whole load are left out, unless those of this load are asked for: then with a lower record
    number, as many of them share a sequence number.
    """
    asked = _latest(of_load=load is not None)
    found = session.execute(asked, {"before": seq, "load": load, "most": most}).all()
    records = _with_numbers(session, found)
    for _, number in found:
        record = records[number]
        place = next(i for i, each in enumerate(record.versions) if each.record == number)
        yield Change(record, record.versions[place - 1], record.versions[place])


@cache
def _latest(*, of_load: bool) -> Select[str, int]:
    """Return what asks every kind of record for its changes, made once."""
    before, load, most = (bindparam(name, type_=BigInteger) for name in ("before", "load", "most"))
    # A later version has a version that it supersedes, which an index finds; an end filled in has no reason.
    asked = [
        select(literal(kind).label("kind"), model.id, model.seq)
        .where(model.supersedes.is_not(None), model.reason.is_not(None))
        .where((model.id if of_load else model.seq) < before, _of_load(model.seq, load if of_load else None))
        .order_by(model.seq.desc(), model.id.desc())
        .limit(most)
        .subquery()
        for kind, model in KINDS.items()
    ]
    every = union_all(*(select(each.c.kind, each.c.id, each.c.seq) for each in asked)).subquery()
    latest = select(every.c.kind, every.c.id)
    return latest.order_by(every.c.seq.desc(), every.c.id.desc() if of_load else every.c.id).limit(most)


def _with_numbers(session: Session, found: Iterable[tuple[str, int]]) -> dict[int, Recorded]:
    """Return the records of these kinds and numbers by the numbers of all their versions: one question a kind."""
    by_kind: dict[str, list[int]] = {}
    for kind, number in found:
        by_kind.setdefault(kind, []).append(number)
    records = {}
    for kind, numbers in by_kind.items():
        model = KINDS[kind]
        facts = select(model.fact).where(model.id.in_(numbers))
        for record in read_records(session, kind, model.fact.in_(facts)):
            records.update({version.record: record for version in record.versions})
    return records


@dataclass(frozen=True)
class Doubted:
    """An accepted reading that a correction made doubtful: why, by whom, and the record that was corrected."""

    reading: Recorded
    why: str
    corrected: int
    by: str


def held_readings(session: Session, *, most: int, after: int = 0) -> list[Recorded]:
    """Readings that wait for a second person's word, those that wait longest first, from a record number on."""
    waiting = _held().where(PinReading.id > after).with_only_columns(PinReading.fact)
    numbers = session.scalars(waiting.order_by(PinReading.id).limit(most))
    return [read_record(session, number) for number in numbers.all()]


def held_count(session: Session) -> int:
    """How many readings wait for a second person's word."""
    return session.execute(_held().with_only_columns(func.count())).scalar_one()


def doubted_readings(session: Session, readings: Collection[int] | None = None) -> list[Doubted]:
    """Accepted readings that corrections made doubtful and nobody has ruled on since; `readings` are record numbers."""
    ruled = current(Ruling).with_only_columns(Ruling.reading)
    rows = select(DoubtedReading, PinReading.fact, LoggedChange.person).join(
        PinReading, PinReading.id == DoubtedReading.record
    )
    rows = rows.join(LoggedChange, LoggedChange.seq == DoubtedReading.correction)
    rows = rows.where(PinReading.fact.not_in(ruled)).order_by(DoubtedReading.record)
    if readings is not None:
        rows = rows.where(PinReading.fact.in_(readings))
    found = []
    for doubt, fact, person in session.execute(rows).all():
        reading = read_record(session, fact)
        # Corrected since, it was judged anew; withdrawn, it is gone.
        if reading.now.record == doubt.record and not reading.now.withdrawn:
            found.append(Doubted(reading, doubt.why, _corrected(session, doubt.correction), person))
    return found


def _of_load(
    seq: ColumnElement[int] | InstrumentedAttribute[int], load: ColumnElement[int] | None
) -> ColumnElement[bool]:
    """Whether a change withdrew this load; None: whether it withdrew no load whole."""
    went = select(LoadWithdrawal.load).where(seq.between(LoadWithdrawal.first_seq, LoadWithdrawal.last_seq))
    return ~went.exists() if load is None else went.where(LoadWithdrawal.load == load).exists()


def _held() -> Select[Any]:
    ruled = current(Ruling).with_only_columns(Ruling.reading)
    return current(PinReading).where(PinReading.state == "held", PinReading.fact.not_in(ruled))


def _corrected(session: Session, seq: int) -> int:
    """The record that a correction is of: the fact of the change's latest version."""
    asked = [
        select(model.fact).where(model.seq == seq, model.supersedes.is_not(None)) for model in KINDS.values()
    ]
    return session.scalars(union_all(*asked).limit(1)).first() or 0
