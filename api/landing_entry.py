"""A landings sheet as typed: its lines kept and recorded in one change, or all that is odd about it told at once."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from sqlalchemy.orm import Session

from api.records import enter_rows
from db.entry.flown import LANDINGS_A_DAY_MAX
from db.entry.landings_sheet import COUNT, Keeper, open_landings_sheet, post_landings_sheet
from db.entry.sheets import TypedLine, keep_lines
from db.errors import RowError, RowsRefusedError
from db.landing_lines import AircraftLine
from db.sessions import LetIn as Person
from db.sheets import IssuedSheet

MORE: Final = ("touch_and_gos", "rejected_takeoffs")
SHEET_TOTAL: Final = "sheet_total"
SURE: Final = "sure"
WHOLE: Final = "write the whole number that was counted"
AGAIN: Final = "look at the sheet again; if it says so, tick that it does"


@dataclass(frozen=True)
class TypedSheet:
    """The form of a sheet: base, day, what each line gives (`asks`), its lines, and the fields as typed."""

    base: str
    day: dt.date
    asks: str
    lines: tuple[AircraftLine, ...]
    form: Mapping[str, str]

    @property
    def main(self) -> str:
        """The field that each line gives."""
        return "full_stops" if self.asks == COUNT else "total_landings"

    @property
    def fields(self) -> tuple[str, ...]:
        """The fields of each line, the one that it gives first."""
        return (self.main, *MORE)

    @property
    def asked(self) -> tuple[AircraftLine, ...]:
        """Lines not on record yet."""
        return tuple(each for each in self.lines if each.reported is None)

    @property
    def filled(self) -> tuple[AircraftLine, ...]:
        """Lines in which something was typed."""
        return tuple(each for each in self.asked if any(self.typed(each).values()))

    def typed(self, line: AircraftLine) -> dict[str, str]:
        """What was typed in a line."""
        return {field: self.form.get(name_of(field, line), "").strip() for field in self.fields}

    def count(self, line: AircraftLine, field: str) -> int | None:
        """A field as a whole number, None where it is none."""
        text = self.typed(line).get(field, "")
        return int(text) if text.isascii() and text.isdigit() else None

    def rise(self, line: AircraftLine) -> int | None:
        """Landings of the day in a line: as typed, or by how much the running total rose; None where not known."""
        typed = self.count(line, self.main)
        if typed is None or self.asks == COUNT:
            return typed
        return None if line.total_before is None else typed - line.total_before


def name_of(field: str, line: AircraftLine) -> str:
    """Name and id of an input."""
    return f"{field}-{line.aircraft}"


def post(session: Session, person: Person, sheet: TypedSheet, key: str) -> IssuedSheet:
    """Record what was typed in one change and post the sheet; refused whole, with everything that is odd about it."""
    by = Keeper(person.name, dt.datetime.now(dt.UTC))
    opened = open_landings_sheet(session, sheet.base, sheet.day, sheet.asks, by=by, lines=sheet.lines)
    typed = [
        TypedLine(
            sheet.form.get(f"key-{line.aircraft}") or f"{key}-{line.aircraft}",
            line.registration,
            sheet.typed(line),
            tuple(sheet.form.get(f"seen-{line.aircraft}", "").split()),
        )
        # What was typed against a record that came meanwhile is kept too, and waits.
        for line in sheet.lines
        if any(sheet.typed(line).values())
    ]
    keep_lines(session, opened.code, typed, person=by.person, now=by.now)
    unread = [*unread_in(sheet)]
    places = {(each.row, each.column) for each in unread}
    against = [each for each in _recorded(session, person, sheet) if (each.row, each.column) not in places]
    refused = {(each.row, each.column) for each in against}
    errors = [
        *unread,
        *against,
        *odd(sheet),
        *(each for each in rises(sheet) if (each.row, each.column) not in refused),
    ]
    if errors:
        raise RowsRefusedError(tuple(errors))
    return post_landings_sheet(session, opened, by=by, before=sheet.lines)


def _recorded(session: Session, person: Person, sheet: TypedSheet) -> list[RowError]:
    """Enter the rows, and return what the ledger says against them."""
    if not sheet.filled:
        return []
    rows = [
        {
            "registration": line.registration,
            "day": sheet.day.isoformat(),
            "base": sheet.base,
            "full_stops": "",
            **sheet.typed(line),
        }
        for line in sheet.filled
    ]
    try:
        outcome = enter_rows(session, person, "landings", rows, source="form")
    except RowsRefusedError as refused:
        return list(refused.errors)
    if sheet.form.get(SURE):
        return []
    return [
        RowError("landings", flag.row, sheet.main, rows[flag.row - 1][sheet.main], flag.text, AGAIN)
        for flag in outcome.flags
    ]


def unread_in(sheet: TypedSheet) -> Iterator[RowError]:
    """Fields that are no whole number: the total, the echo and the ledger must all read the same."""
    for row, line in enumerate(sheet.filled, 1):
        for field, text in sheet.typed(line).items():
            if text and sheet.count(line, field) is None:
                yield RowError("landings", row, field, text, "is no whole number", WHOLE)


def odd(sheet: TypedSheet) -> Iterator[RowError]:
    """What is odd about a sheet in itself; a row number is the place among the lines filled in, 0 the sheet's total."""
    for row, line in enumerate(sheet.filled, 1):
        if not sheet.typed(line)[sheet.main]:
            yield RowError(
                "landings", row, sheet.main, "", "is blank and the line is not", "write 0 if it did not land"
            )
    if not sheet.form.get(SURE):
        yield from _swapped(sheet)
    yield from _sum(sheet)


def rises(sheet: TypedSheet) -> Iterator[RowError]:
    """More than can have been flown since the total before (common practice, no source), or less than written down."""
    for row, line in enumerate(sheet.filled, 1):
        rise, days = sheet.rise(line), 1
        if rise is None or sheet.form.get(SURE):
            continue
        if sheet.asks != COUNT and line.total_on is not None:
            days = max(1, (sheet.day - line.total_on).days)
        if rise < 0:
            rule = f"with the landings written down since {line.total_on} it was {line.total_before} the day before"
        elif rise > LANDINGS_A_DAY_MAX * days:
            rule = f"{rise} landings are more than {LANDINGS_A_DAY_MAX} a day"
        else:
            continue
        yield RowError("landings", row, sheet.main, sheet.typed(line)[sheet.main], rule, AGAIN)


def _swapped(sheet: TypedSheet) -> Iterator[RowError]:
    """Two running totals that fit each other's aircraft and not their own."""
    if sheet.asks == COUNT:
        return
    for (row, one), (place, other) in combinations(enumerate(sheet.filled, 1), 2):
        mine, theirs = sheet.count(one, sheet.main), sheet.count(other, sheet.main)
        if mine is None or theirs is None:
            continue
        own = _fits(one, mine, sheet.day) and _fits(other, theirs, sheet.day)
        if not own and _fits(one, theirs, sheet.day) and _fits(other, mine, sheet.day):
            for at, line, beside in ((row, one, other), (place, other, one)):
                rule = f"looks swapped with {beside.registration}"
                yield RowError("landings", at, sheet.main, sheet.typed(line)[sheet.main], rule, AGAIN)


def _fits(line: AircraftLine, total: int, day: dt.date) -> bool:
    if line.total_before is None or line.total_on is None:
        return False
    most = LANDINGS_A_DAY_MAX * max(1, (day - line.total_on).days)
    return line.total_before <= total <= line.total_before + most


def _sum(sheet: TypedSheet) -> Iterator[RowError]:
    """The total of the sheet against its lines, those on record included."""
    typed = sheet.form.get(SHEET_TOTAL, "").strip()
    if not typed:
        return
    if not (typed.isascii() and typed.isdigit()):
        yield RowError(
            "sheet", 0, SHEET_TOTAL, typed, "is no whole number", "write digits, or leave it empty"
        )
        return
    rises = [sheet.rise(line) for line in sheet.filled]
    there = [line.reported.full_stops for line in sheet.lines if line.reported]
    found = sum(each or 0 for each in (*rises, *there))
    if sheet.asks != COUNT and None in rises:
        rule = "cannot be compared: no running total is on record before this day for every line"
        yield RowError("sheet", 0, SHEET_TOTAL, typed, rule, "leave it empty")
    elif found != int(typed):
        rule = f"the lines add up to {found}"
        yield RowError("sheet", 0, SHEET_TOTAL, typed, rule, "look for the line that is wrong or blank")
