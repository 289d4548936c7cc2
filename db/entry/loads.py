"""
Loads: remembered, and withdrawn whole with a reason.

All that a load brought is taken back in one transaction, in reverse of the order in which it came; where later records
rest on any of it, nothing is taken back and the reason names them.
"""

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Row, delete, func, insert, select
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.chain import Act, append, locked_head
from db.entry.corrections import references
from db.entry.moved import withdraw_stay
from db.entry.versions import withdrawn_version
from db.errors import NotFoundError, RowError, RowsRefusedError
from db.imports.loading import Loaded
from db.lookup import current
from db.recorded import KINDS, read_record
from db.records.brakes import Occupancy
from db.records.loads import FileLoad, LoadWithdrawal
from db.records.readings import Landing, PinReading, Ruling
from db.secrets_kept import time_text

AT_ONCE: Final = 500
REST_ON_IT: Final = "withdraw or correct those first; nothing was withdrawn"


@dataclass(frozen=True)
class Span:
    """The changes of the log that a load made."""

    first: int
    last: int

    def holds(self, column: Any) -> Any:  # noqa: ANN401 - a condition of the query language
        """Return the condition that a sequence number is among them."""
        return column.between(self.first, self.last)


def remember_load(
    session: Session, act: Act, loaded: Loaded, *, files: Sequence[Mapping[str, str]], source: str = ""
) -> int | None:
    """
    Remember a load that made changes: its number, or None where all was on record already.

    `files` has the name and SHA-256 of each. The way it came is the first word of the act's source.
    """
    if loaded.last_seq < loaded.first_seq:
        return None
    number = (session.scalars(select(func.max(FileLoad.number))).one() or 0) + 1
    counted = ("added", "same", "completed", "held")
    kinds = {file.file: {name: getattr(file, name) for name in counted} for file in loaded.files}
    row = {
        "number": number,
        "person": act.person,
        "loaded_at": time_text(dt.datetime.now(dt.UTC)),
        "way": act.source.partition(" ")[0],
        "source": source,
        "files": json.dumps([dict(file) for file in files]),
        "kinds": json.dumps(kinds),
        "first_seq": loaded.first_seq,
        "last_seq": loaded.last_seq,
    }
    session.execute(insert(table_of(FileLoad)), row)
    return number


def withdraw_load(session: Session, act: Act, number: int) -> int:
    """Withdraw all that a load brought, and return how many records that were; or nothing, and say what rests on it."""
    load = session.get(FileLoad, number)
    if load is None:
        raise NotFoundError(f"no load has the number {number}; look it up in the list of loads")
    if not (act.reason or "").strip():
        _refuse(number, "reason", "a withdrawal needs a reason", "say why, in a few words")
    with session.begin_nested():
        first = locked_head(session).seq + 1
        if done := session.get(LoadWithdrawal, number):
            rule = f"this load was withdrawn by {done.person}: {done.reason}"
            _refuse(number, "", rule, "nothing is left to do")
        count = _take_back(session, act, Span(load.first_seq, load.last_seq), number)
        session.execute(
            insert(table_of(LoadWithdrawal)),
            {
                "load": number,
                "person": act.person,
                "withdrawn_at": time_text(dt.datetime.now(dt.UTC)),
                "reason": act.reason,
                "first_seq": first,
                "last_seq": locked_head(session).seq,
            },
        )
    return count


@dataclass(frozen=True)
class _Brought:
    """What a load brought of one kind: facts that were not there before, and earlier versions to go back to."""

    gone: tuple[Row[Any], ...]
    back: tuple[tuple[Row[Any], Row[Any]], ...]  # the version that stands, and the one before the load

    @property
    def facts(self) -> set[int]:
        return {row.fact for row in self.gone}


def _take_back(session: Session, act: Act, span: Span, number: int) -> int:
    brought = {kind: _brought(session, model, span) for kind, model in KINDS.items()}
    _refuse_changed(session, span, number)
    for kind, found in brought.items():
        _refuse_rested_on(session, kind, found.facts, span, number)
    _refuse_totals(session, {row.fact: row for row in brought["counter_changes"].gone}, span, number)
    ended = _ends_alone(brought)
    _leave_places(session, brought["installations"].facts)
    rows: list[tuple[type[Fact], list[dict[str, Any]]]] = []
    for kind in reversed(list(KINDS)):
        versions = [withdrawn_version(row) for row in brought[kind].gone if row.fact not in ended]
        versions += [_earlier(stands, before) for stands, before in brought[kind].back]
        if kind == "rulings":
            versions += _rulings_that_fall(session, brought["pin_readings"].facts, span)
        if versions:
            rows.append((KINDS[kind], versions))
    if rows:
        append(session, act, rows)
    for removal in sorted(ended, reverse=True):
        withdraw_stay(session, act, read_record(session, removal))
    return sum(len(versions) for _, versions in rows) + len(ended)


def _brought(session: Session, model: type[Fact], span: Span) -> _Brought:
    """Return what stands of what a load brought; a record withdrawn since by itself is done with."""
    touched = select(model.fact).where(span.holds(model.seq))
    stands = session.execute(current(model).where(model.fact.in_(touched))).all()
    if not stands:
        return _Brought((), ())
    before: dict[int, Row[Any]] = {}
    earlier = select(table_of(model)).where(model.fact.in_(touched), model.seq < span.first)
    for row in session.execute(earlier.order_by(model.version)):
        before[row.fact] = row
    new = tuple(row for row in stands if row.fact not in before or before[row.fact].withdrawn)
    known = {row.fact for row in new}
    return _Brought(new, tuple((row, before[row.fact]) for row in stands if row.fact not in known))


def _refuse_changed(session: Session, span: Span, number: int) -> None:
    """Refuse where a record of the load was corrected, completed or ended since and still stands."""
    errors = []
    for kind, model in KINDS.items():
        touched = select(model.fact).where(span.holds(model.seq))
        since = current(model).where(model.fact.in_(touched), model.seq > span.last)
        found = _counted(session, since.with_only_columns(func.count(), func.min(model.id)))
        if found:
            rule = f"{found.count} of its {kind.replace('_', ' ')} were changed since"
            errors.append(_error(number, kind, found.record, rule))
    _refuse_all(errors)


def _refuse_rested_on(session: Session, kind: str, facts: set[int], span: Span, number: int) -> None:
    """Refuse where records that came otherwise refer to what the load brought."""
    errors = []
    model = KINDS[kind]
    touched = select(model.fact).where(span.holds(model.seq))
    for other, column in references(model) if facts else ():
        if (model, KINDS[other]) == (PinReading, Ruling):
            continue
        theirs = KINDS[other]
        uses = current(theirs).where(column.in_(touched), ~span.holds(theirs.seq))
        counted = uses.with_only_columns(column, func.count(), func.min(theirs.id)).group_by(column)
        found = [row for row in session.execute(counted) if row[0] in facts]
        if found:
            count, what = sum(row[1] for row in found), other.replace("_", " ")
            rule = f"{count} {what} on record rest on its {kind.replace('_', ' ')}"
            errors.append(_error(number, kind, min(row[2] for row in found), rule))
    _refuse_all(errors)


def _refuse_totals(session: Session, changes: Mapping[int, Row[Any]], span: Span, number: int) -> None:
    """Refuse where running totals that came otherwise were read from a counter that the load brought."""
    errors = []
    for change in changes.values():
        totals = current(Landing).where(
            Landing.aircraft == change.aircraft,
            Landing.counter == change.counter,
            Landing.total_landings.is_not(None),
            ~span.holds(Landing.seq),
        )
        found = _counted(session, totals.with_only_columns(func.count(), func.min(Landing.id)))
        if found:
            rule = f"{found.count} running totals on record were read from a counter that it brought"
            errors.append(_error(number, "counter_changes", found.record, rule))
    _refuse_all(errors)


def _ends_alone(brought: Mapping[str, _Brought]) -> set[int]:
    """Return removals of brakes whose installation stays: each has to find its place free again."""
    installations = brought["installations"].facts
    return {row.fact for row in brought["removals"].gone if row.installation not in installations}


def _leave_places(session: Session, installations: set[int]) -> None:
    numbers = sorted(installations)
    for at in range(0, len(numbers), AT_ONCE):
        part = numbers[at : at + AT_ONCE]
        session.execute(delete(Occupancy).where(Occupancy.installation.in_(part)))


def _earlier(stands: Row[Any], before: Row[Any]) -> dict[str, Any]:
    """Return the next version of a fact with the values that it had before the load."""
    version = withdrawn_version(before)
    return {**version, "withdrawn": False, "version": stands.version + 1, "supersedes": stands.id}


def _rulings_that_fall(session: Session, readings: set[int], span: Span) -> list[dict[str, Any]]:
    """Return withdrawals of what second persons said of these readings since."""
    if not readings:
        return []
    touched = select(PinReading.fact).where(span.holds(PinReading.seq))
    since = current(Ruling).where(Ruling.reading.in_(touched), ~span.holds(Ruling.seq))
    return [withdrawn_version(row) for row in session.execute(since) if row.reading in readings]


@dataclass(frozen=True)
class _Counted:
    count: int
    record: int


def _counted(session: Session, asked: Any) -> _Counted | None:  # noqa: ANN401 - a select of two numbers
    count, record = session.execute(asked).one()
    return _Counted(count, record) if count else None


def _error(number: int, kind: str, record: int, rule: str) -> RowError:
    return RowError(f"load {number}", 0, kind, str(record), f"{rule}, record {record} first", REST_ON_IT)


def _refuse_all(errors: list[RowError]) -> None:
    if errors:
        raise RowsRefusedError(tuple(errors))


def _refuse(number: int, column: str, rule: str, suggestion: str) -> None:
    raise RowsRefusedError((RowError(f"load {number}", 0, column, "", rule, suggestion),))
