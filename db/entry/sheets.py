"""
Sheets are issued, their lines kept as they are typed, and the whole posted.

A line says which lines it saw standing in its place. What it saw, it replaces; a line that it did not see and that says
something else stays beside it as a conflict, until somebody who has seen both types the place again.
"""

import datetime as dt
import json
import uuid
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import or_, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from db.errors import ConflictError, KeyReusedError, LedgerError, NotFoundError
from db.lookup import aircraft_by_registration, base_ids
from db.records.sheets import CONFLICT, KINDS, POSTED, REPLACED, STANDING, Sheet, SheetCheck, SheetLine
from db.secrets_kept import time_text
from db.sheet_code import new_code
from db.sheets import IssuedSheet, KeptLine, in_order, issued, order

TRIES: Final = 50
LONGEST_KEY: Final = 80
LONGEST_LINE: Final = 2_000


@dataclass(frozen=True)
class TypedLine:
    """A line as a browser sends it: its key, its place on the sheet, what was typed, keys of the lines it saw there."""

    key: str
    place: str
    typed: Mapping[str, str]
    seen: tuple[str, ...] = ()


@dataclass(frozen=True)
class SheetAsked:
    """What a sheet is for."""

    kind: str
    day: dt.date
    base: str = ""
    registration: str = ""
    work_order: str = ""


def issue_sheet(
    session: Session, asked: SheetAsked, asks: Mapping[str, Any], *, person: str, now: dt.datetime
) -> IssuedSheet:
    """
    Issue a sheet under a new code; `asks` is what it asks for and stays as issued.

    There is one sheet of landings for a base and a day: if it was issued before, that one is returned as it is.
    """
    base = _base(session, asked.base)
    row: dict[str, Any] = {
        "kind": asked.kind,
        "base": base,
        "day": asked.day,
        "aircraft": _aircraft(session, asked.registration, asked.day),
        "work_order": asked.work_order or None,
        "asks": json.dumps(dict(asks), sort_keys=True),
    }
    if asked.kind not in KINDS:
        raise LedgerError(f"{asked.kind!r} is no kind of sheet; wanted one of {', '.join(KINDS)}")
    for _ in range(TRIES):
        before = _landings_sheet(session, base, asked.day) if asked.kind == "landings" else None
        if before is not None:
            return issued(session, before)
        try:
            with session.begin_nested():
                sheet = Sheet(code=new_code(), **row, issued_by=person, issued_at=time_text(now))
                session.add(sheet)
        except IntegrityError:
            continue  # the code is taken, or somebody opened the same sheet at this moment
        return issued(session, sheet)
    raise ConflictError(f"no free code was found in {TRIES} tries; try again")


def keep_line(
    session: Session, code: str, line: TypedLine, *, person: str, now: dt.datetime
) -> tuple[KeptLine, ...]:
    """Keep one line as `keep_lines` does, and return all that is open in its place: one, or several in conflict."""
    kept = keep_lines(session, code, (line,), person=person, now=now)
    return tuple(each for each in kept if each.place == line.place)


def keep_lines(
    session: Session, code: str, lines: Sequence[TypedLine], *, person: str, now: dt.datetime
) -> tuple[KeptLine, ...]:
    """
    Keep lines, each once for its key, and return all that are open on the sheet now.

    A line for a place that a posted sheet has settled is a conflict too, if it says something else.
    """
    for line in lines:
        _check(line)
    _locked(session, code)
    keys = {line.key for line in lines}
    of_sheet = select(SheetLine).where(or_(SheetLine.sheet == code, SheetLine.key.in_(keys)))
    every = {each.key: each for each in session.scalars(of_sheet)}
    for line in lines:
        before = every.get(line.key)
        if before is None:
            there = [each for each in every.values() if (each.sheet, each.place) == (code, line.place)]
            every[line.key] = _place_line(session, code, line, there, by=(person, now))
        elif (before.sheet, before.place, json.loads(before.typed)) != (code, line.place, dict(line.typed)):
            raise KeyReusedError(
                f"the line key {line.key!r} was used for something else; give each line typed a key of its own"
            )
    session.flush()
    return in_order(each for each in every.values() if each.sheet == code)


def post_sheet(  # noqa: PLR0913 - what is posted, by whom, and what is on record of it
    session: Session,
    code: str,
    *,
    person: str,
    now: dt.datetime,
    agrees: Mapping[str, Callable[[Mapping[str, str]], bool]] | None = None,
    settled: Collection[str] = (),
) -> IssuedSheet:
    """
    Mark a sheet as typed back; refused while two devices differ in a place. Posting again changes nothing.

    `agrees` has the places on record, and whether what was typed says the same: what does not waits as a conflict, what
    is not on record stands; without it every line is taken as recorded. In a place `settled`, on record before this
    post, a line that waits keeps nobody from posting the others.
    """
    sheet = _locked(session, code)
    every = session.scalars(select(SheetLine).where(SheetLine.sheet == code)).all()
    torn = sorted({each.place for each in every if each.state == CONFLICT} - set(settled))
    if torn:
        raise ConflictError(
            f"two devices differ in {', '.join(torn)}; look at both values, type the right one there, then post again"
        )
    for line in every:
        if line.state in (STANDING, CONFLICT):
            line.state = _posted_state(line, agrees)
    if sheet.posted_at is None:
        sheet.posted_by, sheet.posted_at = person, time_text(now)
    session.flush()
    return issued(session, sheet)


def drop_line(session: Session, code: str, key: str, *, person: str, now: dt.datetime) -> None:
    """
    Drop a line that waits beside what was posted. It is kept, and so is who dropped it: a blank line that saw it.

    Dropping a line that is settled already changes nothing.
    """
    _locked(session, code)
    line = session.get(SheetLine, key)
    if line is None or line.sheet != code:
        raise NotFoundError(f"no line {key[:40]!r} was typed on sheet {code}; open the sheet again")
    if line.state not in (STANDING, CONFLICT):
        return
    line.state = REPLACED
    told = {"place": line.place, "typed": "{}", "seen": key, "state": REPLACED}
    session.add(SheetLine(key=uuid.uuid4().hex, sheet=code, person=person, kept_at=time_text(now), **told))
    session.flush()


def _posted_state(line: SheetLine, agrees: Mapping[str, Callable[[Mapping[str, str]], bool]] | None) -> str:
    """Return what an open line becomes when its sheet is posted."""
    typed = json.loads(line.typed)
    if agrees is None or not any(typed.values()):
        return POSTED if line.state == STANDING else line.state
    if line.place not in agrees:
        return line.state
    if not agrees[line.place](typed):
        return CONFLICT
    return POSTED if line.state == STANDING else REPLACED


def keep_check(
    session: Session,
    code: str,
    typed: Mapping[str, Mapping[str, str]],
    *,
    differs: tuple[int, int],
    by: tuple[str, dt.datetime],
) -> None:
    """
    Keep the second typing of a posted sheet: `differs` is in how many places of how many, `by` whom and when.

    Refused for whoever posted it: what the same person types twice checks little.
    """
    sheet, (person, now) = _locked(session, code), by
    if sheet.posted_at is None:
        raise LedgerError(f"sheet {code} is not posted; post it before it is typed a second time")
    if sheet.posted_by == person:
        raise LedgerError(f"{person} posted sheet {code}; another person types it a second time")
    if session.get(SheetCheck, code) is not None:
        raise ConflictError(f"sheet {code} was typed a second time already; look at what differed")
    told = json.dumps({place: dict(fields) for place, fields in typed.items()}, sort_keys=True)
    kept = {"differences": differs[0], "places": differs[1], "person": person, "checked_at": time_text(now)}
    session.add(SheetCheck(sheet=code, typed=told, **kept))
    session.flush()


def _place_line(
    session: Session, code: str, line: TypedLine, there: list[SheetLine], *, by: tuple[str, dt.datetime]
) -> SheetLine:
    """Put a line beside those `there`, which stand in its place or did."""
    person, now = by
    new = SheetLine(
        key=line.key,
        sheet=code,
        place=line.place,
        typed=json.dumps(dict(line.typed), sort_keys=True),
        seen=" ".join(line.seen),
        state=REPLACED,
        person=person,
        kept_at=time_text(now),
    )
    session.add(new)
    # A line that comes late, after the one that replaced it, is replaced already.
    if not any(line.key in each.seen.split() for each in there):
        still_open = []
        for each in sorted(there, key=order):
            if each.key in line.seen:
                each.state = REPLACED
            elif each.state != REPLACED:
                still_open.append(each)
        _settle([*still_open, new])
    return new


def _settle(lines: list[SheetLine]) -> None:
    """Of lines that say the same the first counts; where several are left, those after the first are in conflict."""
    first: dict[str, SheetLine] = {}
    for each in lines:
        if first.setdefault(each.typed, each) is not each:
            each.state = REPLACED
        elif len(first) > 1:
            each.state = CONFLICT
        elif each.state != POSTED:
            each.state = STANDING


def _check(line: TypedLine) -> None:
    for key in (line.key, *line.seen):
        if not 0 < len(key) <= LONGEST_KEY or not key.isprintable() or " " in key:
            raise LedgerError(
                f"{key[:40]!r} is no line key; wanted 1 to {LONGEST_KEY} characters without spaces, such as a UUID"
            )
    length = len(line.place) + sum(len(name) + len(text) for name, text in line.typed.items())
    if not line.place or length > LONGEST_LINE:
        raise LedgerError(
            f"a line names its place and has at most {LONGEST_LINE} characters; this has {length}"
        )


def _locked(session: Session, code: str) -> Sheet:
    """Return the sheet, held until the transaction ends, so that of two lines the second sees the first."""
    found = session.scalars(select(Sheet).where(Sheet.code == code).with_for_update()).one_or_none()
    if found is None:
        raise NotFoundError(f"no sheet {code} was issued here; check the code")
    return found


def _landings_sheet(session: Session, base: int | None, day: dt.date) -> Sheet | None:
    of_base = Sheet.base.is_(None) if base is None else Sheet.base == base
    return session.scalars(
        select(Sheet).where(Sheet.kind == "landings", of_base, Sheet.day == day)
    ).one_or_none()


def _base(session: Session, name: str) -> int | None:
    if not name:
        return None
    known = base_ids(session)
    if name not in known:
        raise NotFoundError(f"no base {name!r} is on record; known are {', '.join(sorted(known)) or 'none'}")
    return known[name]


def _aircraft(session: Session, registration: str, day: dt.date) -> int | None:
    if not registration:
        return None
    found = aircraft_by_registration(session, day).get(registration)
    if found is None:
        raise NotFoundError(f"no aircraft carried the registration {registration!r} on {day}; check both")
    return found
