"""Row 1: which column stands where, and what is wrong with the names."""

from collections import Counter
from dataclasses import dataclass

from db.errors import RowError
from db.files import Column, File
from db.imports.texts import nearest


@dataclass(frozen=True)
class Header:
    """Known columns with their places, and what is wrong; `complete` says that no required column is missing."""

    places: dict[int, Column]
    errors: tuple[RowError, ...]
    complete: bool


def read_header(file: File, names: list[str]) -> Header:
    """Match the names in row 1 with the file's columns, letter by letter."""
    tidy = [name.strip(" ") for name in names]
    columns = [file.column(name) for name in tidy]
    places = {place: column for place, column in enumerate(columns) if column is not None}
    present = {column.name for column in places.values()}
    missing = [column.name for column in file.columns if column.required and column.name not in present]
    unknown = [name for name, column in zip(tidy, columns, strict=True) if column is None]
    errors = [
        *(_twice(file, name) for name, times in Counter(tidy).items() if times > 1 and name),
        *(_unknown(file, name, present) for name in unknown),
        *(_missing(file, name, unknown) for name in missing),
    ]
    return Header(places, tuple(errors), complete=not missing)


def _twice(file: File, name: str) -> RowError:
    return RowError(file.name, 1, name, name, "a column stands twice in the header", "keep one of them")


def _unknown(file: File, name: str, present: set[str]) -> RowError:
    if not name:
        return RowError(file.name, 1, "", "", "a column has no name", "name the column, or take it out")
    free = [column.name for column in file.columns if column.name not in present]
    near = nearest(name, free or [column.name for column in file.columns])
    rule = f"is not a column of {file.name}"
    return RowError(file.name, 1, name, name, rule, f"name it {near} if that is meant, or take it out")


def _missing(file: File, name: str, unknown: list[str]) -> RowError:
    wanted = ", ".join(column.name for column in file.columns if column.required)
    suggestion = f"add the column {name} (required: {wanted})"
    near = nearest(name, unknown) if any(unknown) else ""
    suggestion += f"; is it the one named {near}?" if near else ""
    return RowError(file.name, 1, name, "", "a required column is missing", suggestion)
