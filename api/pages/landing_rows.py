"""Lines of the Landings sheet as a page shows them: what is on record, what was typed, what is wrong, in words."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from sqlalchemy.orm import Session

from api import words
from api.landing_entry import SHEET_TOTAL, TypedSheet, name_of
from api.pages.proposed import proposal_at
from db.errors import RowError
from db.events_on import with_events
from db.landing_lines import AircraftLine
from db.late_lines import late_lines, typed_values
from db.records.sheets import CONFLICT, POSTED
from db.sheets import IssuedSheet, KeptLine, lines_of

HEADINGS: Final = {
    "full_stops": "Landings",
    "total_landings": "Running total",
    "touch_and_gos": "Touch-and-gos",
    "rejected_takeoffs": "Rejected take-offs",
}


@dataclass(frozen=True)
class Field:
    """One input of a line: its name and id, what it is for, what stands in it, what the server has, what is wrong."""

    field: str
    name: str
    label: str
    typed: str
    kept: str
    errors: tuple[str, ...]
    step: bool


@dataclass(frozen=True)
class Late:
    """A line that waits against the record: its key, what it says, that in a sentence, where it corrects the record."""

    key: str
    values: str
    told: str
    correct_at: str


@dataclass(frozen=True)
class Row:
    """
    A line of the sheet: on record already, or with its inputs; `elsewhere` is what other devices typed in it.

    `late` are lines that say something else than the record.
    """

    line: AircraftLine
    fields: tuple[Field, ...]
    key: str
    seen: str
    elsewhere: str
    wants_event: bool
    late: tuple[Late, ...] = ()


@dataclass(frozen=True)
class Wrong:
    """One refusal, and the input that it is about."""

    at: str
    told: str


def rows_of(
    session: Session, asked: TypedSheet, issued: IssuedSheet | None, errors: tuple[RowError, ...] = ()
) -> tuple[Row, ...]:
    """The rows of a sheet, with what was refused beside its inputs."""
    kept = lines_of(session, issued.code) if issued else ()
    rejected = {each.aircraft for each in asked.lines if each.reported and each.reported.rejected_takeoffs}
    told = with_events(session, rejected, asked.day)
    wrong: dict[str, list[str]] = {}
    for error in errors:
        wrong.setdefault(wrong_of(asked, error).at, []).append(said(error))
    posted_at = issued.posted_at if issued else ""
    rows = []
    for line in asked.lines:
        of_line = tuple(each for each in kept if each.place == line.registration)
        row = _row(asked, line, of_line, wrong, wants_event=line.aircraft in rejected - told)
        record = line.reported.record if line.reported else 0
        late = tuple(_late(each, posted_at, record) for each in late_lines(of_line, line))
        rows.append(replace(row, late=late))
    return tuple(rows)


def _row(
    asked: TypedSheet,
    line: AircraftLine,
    kept: tuple[KeptLine, ...],
    wrong: Mapping[str, list[str]],
    *,
    wants_event: bool,
) -> Row:
    torn = any(each.state == CONFLICT for each in kept)
    standing = kept[0].typed if len(kept) == 1 and kept[0].state != POSTED else {}
    fields = []
    for field in asked.fields:
        name = name_of(field, line)
        has = standing.get(field, "")
        label = f"{line.registration}, {HEADINGS[field].lower()}"
        typed = asked.form.get(name, has).strip()
        # In a torn line nothing is sent before somebody types: that would settle it unseen.
        has = typed if torn else has
        step = field == asked.main and line.flies
        fields.append(Field(field, name, label, typed, has, tuple(wrong.get(name, ())), step))
    return Row(
        line,
        tuple(fields),
        uuid.uuid4().hex,
        " ".join(each.key for each in kept),
        "; ".join(f"{typed_values(each)} by {each.person}" for each in kept) if torn else "",
        wants_event,
    )


def _late(kept: KeptLine, posted_at: str, record: int) -> Late:
    """A line that waits, in words; kept before the sheet was posted, the record came by another way."""
    after = posted_at and kept.kept_at >= posted_at
    came = "after this was posted" if after else "and the record says otherwise"
    values = typed_values(kept)
    told = f"{values} was typed by {kept.person} {came}: correct the record, or drop it."
    return Late(kept.key, values, told, proposal_at(record, kept.key))


def answer(asked: TypedSheet, rows: tuple[Row, ...]) -> str:
    """How far the sheet is, and where to go on."""
    where, day = asked.base or "no base", words.day(asked.day)
    flying = [row for row in rows if row.line.flies]
    left = [row for row in flying if row.line.reported is None]
    if not flying:
        return f"No aircraft of {where} flies on {day}, by the records."
    if not left:
        there = [row.line.reported for row in flying if row.line.reported]
        counted = [each.full_stops for each in there if each.full_stops is not None]
        totals = sum(each.full_stops is None for each in there)
        told = words.listed(
            [
                *([words.counted(sum(counted), "landing")] if counted else []),
                *([words.counted(totals, "running total")] if totals else []),
            ]
        )
        return f"All {len(flying)} aircraft of {where} are reported for {day}: {told} written down.{_waits(rows)}"
    verb = "is" if len(left) == 1 else "are"
    told = f"{len(left)} of {len(flying)} aircraft of {where} {verb} not reported for {day}."
    begun = [row for row in left if any(field.kept for field in row.fields)]
    empty = [row for row in left if not any(field.typed for field in row.fields)]
    if begun and empty:
        place = flying.index(empty[0]) + 1
        told += f" Resume at row {place}, {empty[0].line.registration}."
    return told + _waits(rows)


def _waits(rows: tuple[Row, ...]) -> str:
    """How many lines wait against a record, and in which rows."""
    late = [row for row in rows if row.late]
    if not late:
        return ""
    count = sum(len(row.late) for row in late)
    told = words.counted(count, "line typed differs", "lines typed differ")
    return f" {told} from the record: {words.listed([row.line.registration for row in late])}."


def wrong_of(asked: TypedSheet, error: RowError) -> Wrong:
    """A refusal in words that name the line, and the input that it is about; the line's first where it is none."""
    if error.row == 0:
        return Wrong(SHEET_TOTAL, said(error))
    line = asked.filled[error.row - 1]
    column = error.column if error.column in HEADINGS else asked.main
    return Wrong(name_of(column, line), f"{line.registration}: {said(error)}")


def said(error: RowError) -> str:
    """A refusal in words."""
    begun = error.rule.startswith(error.value)
    told = error.rule if begun else f"{error.value}: {error.rule}"
    return f"{words.capital(told)}; {error.suggestion}."
