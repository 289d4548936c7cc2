"""The columns of a file beside ours, a line for each of ours: which of its columns, in which unit, or one value."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from db.errors import RowError, RowsRefusedError
from db.files import FILES, Column, File
from db.imports.matching import Matching, pins_of, proposed
from db.imports.measures import units_known
from db.imports.written import Written
from db.uploaded import UploadedPart

FROM: Final = "from_"
UNIT: Final = "unit_"
VALUE: Final = "value_"


@dataclass(frozen=True)
class Line:
    """A column of ours: what is chosen for it, what there is to choose from, and what is wrong with that."""

    name: str
    required: bool
    chosen: str
    units: tuple[str, ...]
    unit: str
    value: str
    words: tuple[str, ...]
    error: str


@dataclass(frozen=True)
class Choice:
    """A column of the file, and its first values to tell it by."""

    name: str
    seen: str


def choices_of(part: UploadedPart) -> tuple[Choice, ...]:
    """The columns of a file that have a name."""
    cells = list(zip(*part.first, strict=True)) if part.first else [()] * len(part.header)
    found = {
        name.strip(" "): values for name, values in zip(part.header, cells, strict=True) if name.strip(" ")
    }
    return tuple(Choice(name, ", ".join(filter(None, values))[:60]) for name, values in found.items())


def lines_of(
    part: UploadedPart, kind: str, known: Matching | None, typed: Mapping[str, str], errors: Mapping[str, str]
) -> tuple[Line, ...]:
    """The lines of a kind of record: as typed, as matched, as matched before for this source, or as proposed."""
    file, header = FILES[kind], [choice.name for choice in choices_of(part)]
    before = (part.matching if part.kind == kind else None) or known
    ours = {our: theirs for theirs, our in proposed(file, header, before).items() if our}
    return tuple(
        Line(
            name=column.name,
            required=column.required,
            chosen=typed.get(FROM + column.name, "" if typed else ours.get(column.name, "")),
            units=units_known(column),
            unit=typed.get(UNIT + column.name, before.units.get(column.name, "") if before else ""),
            value=typed.get(VALUE + column.name, before.constants.get(column.name, "") if before else ""),
            words=column.words,
            error=errors.get(column.name, ""),
        )
        for column in _columns(file, [*header, *ours])
    )


def matching_typed(part: UploadedPart, kind: str, typed: Mapping[str, str], written: Written) -> Matching:
    """The matching that a form says; one column for two of ours is refused."""
    chosen = {name[len(FROM) :]: theirs for name, theirs in typed.items() if name.startswith(FROM) and theirs}
    columns = {choice.name: "" for choice in choices_of(part)}
    for our, theirs in chosen.items():
        if columns.get(theirs):
            rule = f"is chosen for {columns[theirs]} already"
            raise RowsRefusedError((RowError(kind, 1, our, theirs, rule, "choose another column, or none"),))
        columns[theirs] = our
    return Matching(columns, _named(typed, UNIT), _named(typed, VALUE), written)


def _columns(file: File, names: list[str]) -> list[Column]:
    """Every column of a kind, with as many pins as there can be."""
    if file.name != "pin_readings":
        return list(file.columns)
    pins = [column for name in pins_of(names) if (column := file.column(name))]
    place = next((at for at, column in enumerate(file.columns) if column.name == "pin_1"), 3)
    others = [column for column in file.columns if not column.name.startswith("pin_")]
    return [*others[:place], *pins, *others[place:]]


def _named(typed: Mapping[str, str], start: str) -> dict[str, str]:
    return {
        name[len(start) :]: text.strip()
        for name, text in typed.items()
        if name.startswith(start) and text.strip()
    }
