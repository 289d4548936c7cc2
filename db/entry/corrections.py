"""
Corrections and withdrawals: new versions of a record, with a reason; nothing is ever overwritten.

A correction goes through the same function as a first entry of its kind, so that the same rules refuse, hold and flag.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.chain import Act, append
from db.entry.in_doubt import doubted_by, keep_doubts
from db.entry.landings_sheet import settle_lines_of
from db.entry.moved import correct_stay, withdraw_stay
from db.entry.outcome import Flag, Outcome
from db.entry.recorders import recorders
from db.entry.versions import refuse_record, typed_rows, withdrawn_version
from db.errors import StaleVersionError
from db.locks import lock_record
from db.lookup import current, known_by
from db.plain import Rows
from db.recorded import KINDS, Recorded, columns_of, find_record, read_record
from db.records.brakes import Installation, Removal
from db.records.readings import CounterChange, Landing, PinReading, Ruling

# A second person's business, by a way of their own.
RULED_ON: Final = {"pin_readings": "state", "wear_limits": "approved", "assumptions": "approved"}
STAYS: Final = ("installations", "removals")
# What falls with the record that it belongs to.
FALLS_WITH: Final = ((Installation, Removal), (PinReading, Ruling))


@dataclass(frozen=True)
class Corrected:
    """The version that came, what is odd about it, and the sequence number up to which it was not known."""

    record: Recorded
    before_seq: int
    flags: tuple[Flag, ...]


def correct(  # noqa: PLR0913 - what is corrected, from which version, to what, and by whom
    session: Session, act: Act, number: int, *, version: str, values: Mapping[str, str], today: dt.date
) -> Corrected:
    """
    Make a new version of a record in which these columns have other values; a withdrawn record is brought back.

    `version` is the tag (fact and version) that was looked at. Blank means not known.
    """
    found = _stands(session, act, number, version)
    texts = _corrected_texts(found, values)
    seq, doubted = known_by(session).seq, doubted_by(session, found)
    if found.kind in STAYS:
        outcome = correct_stay(session, act, found, texts, today=today)
    else:
        outcome = _enter_again(session, act, found, texts, today=today)
    if not outcome.added:
        refuse_record(found, "", "", "another record says the same already", "withdraw this one instead")
    return _done(session, found, seq, doubted, outcome.flags)


def withdraw(session: Session, act: Act, number: int, *, version: str) -> Corrected:
    """Make a last version of a record that says it does not hold; what others refer to cannot be withdrawn."""
    found = _stands(session, act, number, version)
    if found.now.withdrawn:
        refuse_record(found, "", "", "this record is withdrawn already", "nothing is left to do")
    _refuse_used(session, found)
    seq, doubted = known_by(session).seq, doubted_by(session, found)
    if found.kind in STAYS:
        withdraw_stay(session, act, found)
    else:
        model = KINDS[found.kind]
        row = session.execute(current(model).where(model.fact == found.fact)).one()
        rows: list[tuple[type[Fact], Rows]] = [(model, [withdrawn_version(row)])]
        append(session, act, [*rows, *_withdrawn_ruling(session, found)])
    return _done(session, found, seq, doubted, ())


def _stands(session: Session, act: Act, number: int, version: str) -> Recorded:
    """Return the record if the version looked at still stands; from here on nobody else corrects it."""
    _, fact = find_record(session, number)
    lock_record(session, fact)
    found = read_record(session, fact)
    if not (act.reason or "").strip():
        refuse_record(found, "reason", "", "a correction needs a reason", "say why, in a few words")
    if found.tag != version:
        raise StaleVersionError(
            f"record {number} stands at version {found.tag}, corrected by {found.now.person}; "
            f"the one looked at was {version or 'none'}: look at it as it is now, then correct it again",
            found.tag,
            found.now.told,
        )
    return found


def _corrected_texts(found: Recorded, values: Mapping[str, str]) -> dict[str, str]:
    now = found.now
    if found.kind == "rulings":
        refuse_record(found, "state", "", "a ruling is not corrected", "withdraw it, then rule again")
    own = RULED_ON.get(found.kind, "")
    if own in values:
        refuse_record(
            found, own, values[own], "is another person's word", "leave it out; it is ruled on or approved"
        )
    known = set(now.told) | set(columns_of(found.kind, width=len(values) + len(now.told)))
    for name in values:
        if name not in known:
            refuse_record(
                found,
                name,
                values[name],
                f"is not a column of {found.kind}",
                f"one of {', '.join(now.told)}",
            )
    texts = {**now.told, **{name: value.strip() for name, value in values.items()}}
    if texts == dict(now.told) and not now.withdrawn:
        refuse_record(
            found, "", "", "nothing differs from the version that stands", "change a value, or leave it"
        )
    return {name: value for name, value in texts.items() if name != own}


def _enter_again(
    session: Session, act: Act, found: Recorded, texts: Mapping[str, str], *, today: dt.date
) -> Outcome:
    _refuse_counter_in_use(session, found)
    if ruling := _withdrawn_ruling(session, found):
        append(session, act, ruling)
    rows = typed_rows(found.kind, [texts], today=today)
    rows = rows.assign(fact=found.fact, version=found.now.version + 1, supersedes=found.now.record)
    return recorders()[found.kind](session, act, rows)


def _withdrawn_ruling(session: Session, found: Recorded) -> list[tuple[type[Fact], Rows]]:
    """A word on a reading as it was is no word on another value."""
    if found.kind != "pin_readings":
        return []
    ruling = session.execute(current(Ruling).where(Ruling.reading == found.fact)).one_or_none()
    return [(Ruling, [withdrawn_version(ruling)])] if ruling else []


def _refuse_used(session: Session, found: Recorded) -> None:
    """Refuse to withdraw what records that stand refer to."""
    _refuse_counter_in_use(session, found)
    for kind, column in references(KINDS[found.kind]):
        uses = current(KINDS[kind]).where(column == found.fact).with_only_columns(func.count())
        count = session.execute(uses).scalar_one()
        if count:
            rule = f"{count} {kind.replace('_', ' ')} on record refer to it"
            refuse_record(found, "", "", rule, "withdraw those first, or correct this record")


def references(model: type[Fact]) -> Iterator[tuple[str, Any]]:
    """Return each kind and column by which other records refer to records of this table."""
    own = table_of(model)
    for kind, other in KINDS.items():
        for column in table_of(other).columns:
            refers = any(key.column.table is own for key in column.foreign_keys)
            if refers and column.name != "supersedes" and (model, other) not in FALLS_WITH:
                yield kind, column


def _refuse_counter_in_use(session: Session, found: Recorded) -> None:
    """Totals that were read from a counter hold it where it is."""
    if found.kind != "counter_changes":
        return
    change = session.execute(
        select(CounterChange.aircraft, CounterChange.counter).where(CounterChange.id == found.now.record)
    ).one()
    totals = current(Landing).where(
        Landing.aircraft == change.aircraft,
        Landing.counter == change.counter,
        Landing.total_landings.is_not(None),
    )
    count = session.execute(totals.with_only_columns(func.count())).scalar_one()
    if count:
        rule = f"{count} running totals on record were read from this counter"
        refuse_record(found, "day", found.now.told["day"], rule, "correct or withdraw those first")


def _done(
    session: Session, found: Recorded, seq: int, doubted: Mapping[int, str], flags: tuple[Flag, ...]
) -> Corrected:
    after = read_record(session, found.fact)
    if found.kind == "landings":
        settle_lines_of(session, found.fact)
    newly = keep_doubts(session, doubted, doubted_by(session, after), correction=known_by(session).seq)
    other = tuple(Flag(0, f"reading, record {number}, {why}") for number, why in sorted(newly.items()))
    return Corrected(after, seq, (*flags, *other))
