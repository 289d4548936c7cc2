"""The sheet of a base's landings on a day: opened once, and posted with what was typed, whole or not at all."""

import datetime as dt
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.entry.sheets import SheetAsked, drop_line, issue_sheet, post_sheet
from db.errors import ConflictError
from db.landing_lines import AircraftLine, lines_of_base
from db.late_lines import late_lines, says_the_record
from db.lookup import base_ids, current
from db.records.readings import Landing
from db.records.sheets import CONFLICT, REPLACED, Sheet, SheetLine
from db.sheets import IssuedSheet, KeptLine, landings_sheet, lines_of, sheet_by_code

COUNT: Final = "count"
TOTAL: Final = "total"


@dataclass(frozen=True)
class Keeper:
    """Who keeps something, and when."""

    person: str
    now: dt.datetime


@dataclass(frozen=True)
class LateLine:
    """A line that waits against a record, its sheet, and what it would have the record say, by column."""

    line: KeptLine
    sheet: IssuedSheet
    proposed: Mapping[str, str]


def open_landings_sheet(  # noqa: PLR0913 - what is issued, and by whom
    session: Session,
    base: str,
    day: dt.date,
    asks: str,
    *,
    by: Keeper,
    lines: Sequence[AircraftLine] | None = None,
) -> IssuedSheet:
    """
    Return the sheet of this base and day, issued now if it was not before; `asks` is "count" or "total".

    `lines` are those that it is issued with, where they were read a moment ago.
    """
    before = landings_sheet(session, base, day)
    if before is not None:
        return before
    if lines is None:
        lines = lines_of_base(session, base_ids(session).get(base), day)
    asked = {
        "asks": asks,
        "lines": [{"aircraft": each.aircraft, "registration": each.registration} for each in lines],
    }
    return issue_sheet(session, SheetAsked("landings", day, base=base), asked, person=by.person, now=by.now)


def lines_of_sheet(
    session: Session, base: str, day: dt.date, sheet: IssuedSheet | None
) -> tuple[AircraftLine, ...]:
    """Return the lines of the base on the day, and those that were on the sheet as issued."""
    as_issued = {int(each["aircraft"]) for each in sheet.asks["lines"]} if sheet else set()
    return lines_of_base(session, base_ids(session).get(base), day, also=as_issued)


def post_landings_sheet(
    session: Session, sheet: IssuedSheet, *, by: Keeper, before: Sequence[AircraftLine]
) -> IssuedSheet:
    """
    Post a landings sheet whose lines are recorded; `before` are its lines as they were before that.

    A line that says something else than a record of before waits, and keeps nobody from posting the others.
    """
    lines = lines_of_sheet(session, sheet.base, sheet.day, sheet)
    agrees = {
        each.registration: partial(says_the_record, reported=each.reported) for each in lines if each.reported
    }
    settled = {each.registration for each in before if each.reported}
    return post_sheet(session, sheet.code, person=by.person, now=by.now, agrees=agrees, settled=settled)


def settle_lines_of(session: Session, record: int) -> None:
    """Settle the lines that waited against a record of landings and say what it says now that it was corrected."""
    row = session.execute(current(Landing).where(Landing.fact == record)).one_or_none()
    if row is None:
        return
    torn = select(SheetLine.sheet).where(SheetLine.state == CONFLICT)
    in_it = Sheet.day.between(row.day, row.to_day or row.day)
    codes = select(Sheet.code).where(Sheet.kind == "landings", in_it, Sheet.code.in_(torn))
    for code in session.scalars(codes).all():
        sheet = sheet_by_code(session, code)
        lines = lines_of_sheet(session, sheet.base, sheet.day, sheet)
        there = {each.registration: each.reported for each in lines if each.reported}
        waiting = select(SheetLine).where(SheetLine.sheet == code, SheetLine.state == CONFLICT)
        # A line that somebody posts at this moment is left: what it says is compared whenever it is looked at.
        for line in session.scalars(waiting.with_for_update(skip_locked=True)):
            found = there.get(line.place)
            if found and says_the_record(json.loads(line.typed), found):
                line.state = REPLACED
    session.flush()


def late_line_of(session: Session, record: int, key: str) -> LateLine | None:
    """
    Return the line of this key while it waits against this record of landings, None where it does not.

    Of a record of several days nothing is proposed: the line tells one of them.
    """
    kept = session.get(SheetLine, key)
    sheet = sheet_by_code(session, kept.sheet) if kept else None
    if sheet is None or sheet.kind != "landings":
        return None
    mine = [each for each in lines_of(session, sheet.code) if each.key == key]
    for line in lines_of_sheet(session, sheet.base, sheet.day, sheet):
        found = line.reported
        if found and found.record == record and late_lines(mine, line):
            one_day = found.to_day in {None, found.day}
            given = {name: text for name, text in mine[0].typed.items() if text}
            return LateLine(mine[0], sheet, given if one_day else {})
    return None


def drop_late_line(session: Session, sheet: IssuedSheet, key: str, *, by: Keeper) -> None:
    """Drop a line that waits against the record of the day; refused while nothing is on record in its place."""
    place = next((each.place for each in lines_of(session, sheet.code) if each.key == key), None)
    lines = lines_of_sheet(session, sheet.base, sheet.day, sheet)
    if place is not None and place not in {each.registration for each in lines if each.reported}:
        raise ConflictError(f"{place} is not on record for that day; type the right value on the sheet")
    drop_line(session, sheet.code, key, person=by.person, now=by.now)
