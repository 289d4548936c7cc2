"""A sheet typed from paper a second time: what it asks, and each place beside what is on record."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from sqlalchemy.orm import Session

from api import words
from api.landing_entry import TypedSheet, name_of
from api.pages.landing_rows import HEADINGS
from db.entry.landings_sheet import COUNT, TOTAL, lines_of_sheet
from db.entry_quality import RecordedPins, pins_on_sheet
from db.errors import LedgerError
from db.imports.numbers import parse_count
from db.imports.refused import CellError
from db.landing_lines import AircraftLine
from db.records.fleet import CONVENTIONS, LENGTH_UNITS
from db.sheets import IssuedSheet
from lifecycle.errors import BadRecordsError
from lifecycle.units import exact_nm

KINDS: Final = ("landings", "wear check")
# Where what holds for the whole sheet is kept, among the lines by their places.
WHOLE: Final = ""
NOT_MARKED: Final = "not marked"
ON_PAPER: Final = {
    "unit": ("unit", LENGTH_UNITS),
    "convention": ("what the pins give", CONVENTIONS),
}


@dataclass(frozen=True)
class Cell:
    """
    One field of the second typing, by its name in the form and in what is kept.

    `shape`: what its width is made for; `step`: a stop of the keyboard; `error`: why what was typed is no number, empty
    where it is one or blank.
    """

    name: str
    field: str
    label: str
    typed: str
    shape: str
    step: bool
    error: str = ""


@dataclass(frozen=True)
class Choice:
    """
    What holds for the whole sheet, chosen as it is marked on the paper.

    `error`: nothing was chosen, empty before the form is posted.
    """

    name: str
    label: str
    options: tuple[str, ...]
    typed: str
    error: str = ""


@dataclass(frozen=True)
class Line:
    """One line of the sheet: its place as kept, in words, and what stands below them."""

    place: str
    told: str
    below: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Compared:
    """A place in which there is something on either side."""

    place: str
    what: str
    on_record: str
    second: str
    record: int | None
    differs: bool


@dataclass(frozen=True)
class SecondTyping:
    """
    What a sheet asks when it is typed again.

    `choices` hold for the whole of it, `first` heads the lines, `keyboard` is the one that a tablet shows, at
    `enter_at` a missing line is entered.
    """

    caption: str
    first: str
    keyboard: str
    headings: tuple[str, ...]
    lines: tuple[Line, ...]
    compared: tuple[Compared, ...]
    enter_at: str
    choices: tuple[Choice, ...] = ()

    @property
    def differences(self) -> tuple[Compared, ...]:
        """The places in which both are not the same."""
        return tuple(each for each in self.compared if each.differs)

    @property
    def unreadable(self) -> tuple[Choice | Cell, ...]:
        """What was not chosen, and the fields in which something else than a number was typed."""
        every: list[Choice | Cell] = [*self.choices, *(cell for line in self.lines for cell in line.cells)]
        return tuple(each for each in every if each.error)

    @property
    def typed_in(self) -> dict[str, dict[str, str]]:
        """Place to field to text, as it is kept."""
        told = {line.place: {cell.field: cell.typed for cell in line.cells} for line in self.lines}
        return {**told, WHOLE: {each.name: each.typed for each in self.choices}} if self.choices else told


def second_typing(session: Session, sheet: IssuedSheet, typed: Mapping[str, str]) -> SecondTyping:
    """The second typing of a sheet of one of KINDS, with what was typed so far."""
    return (
        _of_landings(session, sheet, typed) if sheet.kind == "landings" else _of_pins(session, sheet, typed)
    )


def typed_before(session: Session, sheet: IssuedSheet, kept: Mapping[str, Mapping[str, str]]) -> SecondTyping:
    """A second typing that was kept, beside what is on record now."""
    empty = second_typing(session, sheet, {})
    form = {
        cell.name: kept.get(line.place, {}).get(cell.field, "") for line in empty.lines for cell in line.cells
    }
    return second_typing(session, sheet, {**form, **kept.get(WHOLE, {})})


def refuse_unreadable(again: SecondTyping) -> None:
    """Refuse a second typing without a figure, or with something else: it counts, and is kept for good."""
    if not any(cell.typed for line in again.lines for cell in line.cells):
        raise LedgerError("nothing was typed; type the sheet from the paper again")
    if again.unreadable:
        raise LedgerError(again.unreadable[0].error)


def _count_error(label: str, text: str) -> str:
    """Why a text is no count; what a second typing says is compared, so that it must be one."""
    try:
        parse_count(text, least=0) if text else None
    except CellError:
        return f"{label} is {text!r}, not a whole number; type what stands on the paper"
    return ""


def _length_error(label: str, text: str) -> str:
    try:
        exact_nm(text, "mm") if text else None
    except BadRecordsError:
        return f"{label} is {text!r}, not a number; type what stands on the paper"
    return ""


def _of_landings(session: Session, sheet: IssuedSheet, typed: Mapping[str, str]) -> SecondTyping:
    lines = lines_of_sheet(session, sheet.base, sheet.day, sheet)
    asked = TypedSheet(sheet.base, sheet.day, str(sheet.asks["asks"]), lines, typed)
    return SecondTyping(
        caption="Landings of the day" if asked.asks == COUNT else "Running totals",
        first="Aircraft",
        keyboard="numeric",
        headings=tuple(HEADINGS[field] for field in asked.fields),
        lines=tuple(
            Line(
                line.registration,
                line.registration,
                "" if line.flies else line.status,
                tuple(_landings_cell(asked, line, field) for field in asked.fields),
            )
            for line in lines
        ),
        compared=tuple(_landings_compared(asked)),
        enter_at=f"/landings?sheet={sheet.code}",
    )


def _landings_cell(asked: TypedSheet, line: AircraftLine, field: str) -> Cell:
    label, typed = f"{line.registration}, {HEADINGS[field].lower()}", asked.typed(line)[field]
    main = field == asked.main
    shape = "total" if main and asked.asks == TOTAL else "count"
    step = main and line.flies
    return Cell(name_of(field, line), field, label, typed, shape, step, _count_error(label, typed))


def _landings_compared(asked: TypedSheet) -> Iterator[Compared]:
    for line in asked.lines:
        for field, second in asked.typed(line).items():
            there = getattr(line.reported, field) if line.reported else None
            told, plain = "" if there is None else str(there), second.lstrip("0") or second[-1:]
            if told or second:
                record = line.reported.record if line.reported else None
                yield Compared(
                    line.registration, HEADINGS[field].lower(), told, plain, record, differs=told != plain
                )


def _of_pins(session: Session, sheet: IssuedSheet, typed: Mapping[str, str]) -> SecondTyping:
    asked = [each for each in sheet.asks["positions"] if each["serial"]]
    most = max((int(each["pins"]) for each in asked), default=1)
    recorded, choices = pins_on_sheet(session, sheet), _choices(typed)
    lines = tuple(
        Line(
            str(each["position"]),
            f"Position {each['position']}",
            str(each["serial"]),
            tuple(_pin_cell(sheet, each, number, typed) for number in range(1, int(each["pins"]) + 1)),
        )
        for each in asked
    )
    return SecondTyping(
        caption="Pins as they stand on the paper, in its unit",
        first="Brake",
        keyboard="decimal",
        headings=tuple(words.capital(words.pin(number)) for number in range(1, most + 1)),
        lines=lines,
        compared=tuple(
            each for line in lines for each in _line_compared(line, recorded.get(line.place), choices)
        ),
        enter_at=f"/pin-readings?sheet={sheet.code}",
        choices=choices,
    )


def _choices(typed: Mapping[str, str]) -> tuple[Choice, ...]:
    """What the paper says of all its pins; the record's own answer is not shown."""
    made = []
    for name, (what, values) in ON_PAPER.items():
        options, chosen = (*values, NOT_MARKED), typed.get(name, "")
        known = not typed or chosen in options
        error = "" if known else f"{what} is not chosen; choose what the paper marks, or {NOT_MARKED!r}"
        made.append(Choice(name, words.capital(what), options, chosen, error))
    return tuple(made)


def _line_compared(
    line: Line, recorded: RecordedPins | None, choices: tuple[Choice, ...]
) -> Iterator[Compared]:
    """One brake's record beside the paper; what is not marked there of the whole sheet is not compared."""
    for each in choices:
        if recorded and each.typed not in ("", NOT_MARKED):
            there, place = getattr(recorded, each.name), f"{line.told}: {line.below}"
            what, differs = ON_PAPER[each.name][0], there != each.typed
            yield Compared(place, what, there, each.typed, recorded.record, differs=differs)
    yield from _pins_compared(line, recorded)


def _pin_cell(sheet: IssuedSheet, asked: Mapping[str, object], number: int, typed: Mapping[str, str]) -> Cell:
    name = f"pin-{asked['position']}-{number}"
    label = f"{sheet.registration}, position {asked['position']}, {words.pin(number)}"
    text = typed.get(name, "").strip()
    return Cell(name, f"pin_{number}", label, text, "length", step=True, error=_length_error(label, text))


def _pins_compared(line: Line, recorded: RecordedPins | None) -> Iterator[Compared]:
    pins, place = recorded.pins if recorded else (), f"{line.told}: {line.below}"
    for number, cell in enumerate(line.cells, 1):
        there = pins[number - 1] if number <= len(pins) else ""
        if there or cell.typed:
            unit = recorded.unit if recorded else "mm"
            told = f"{there} {unit}" if there else ""
            record = recorded.record if recorded else None
            same = _same_length(there, cell.typed, unit)
            yield Compared(place, words.pin(number), told, cell.typed, record, differs=not same)


def _same_length(there: str, second: str, unit: str) -> bool:
    """Whether both are one length: 12 is 12.0."""
    try:
        return bool(there and second) and exact_nm(there, unit) == exact_nm(second, unit)
    except BadRecordsError:
        return False


def named(sheet: IssuedSheet) -> str:
    """A sheet in a few words: kind, base or aircraft, day, code."""
    where = sheet.registration or sheet.base or "no base"
    return f"{words.capital(sheet.kind)}, {where}, {words.day(sheet.day)}, sheet {sheet.code}"
