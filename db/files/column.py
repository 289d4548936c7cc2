"""
What a file and its columns are.

In a frame of rows every column has the type of its kind: texts, words and lengths are str ("" not known), numbers
float64 (NaN), days datetime64[s] (NaT). Lengths stay as typed, because a limit compares exactly.
"""

import re
from dataclasses import dataclass
from typing import Final

NAME: Final = "name"  # identifies something: one line, compared letter by letter
TEXT: Final = "text"
LIST: Final = "list"  # names joined by semicolons
WORD: Final = "word"
DAY: Final = "day"
PAST_DAY: Final = "past day"  # a day that cannot lie ahead
MONTH: Final = "month"
COUNT: Final = "count"  # whole, from 0
QUANTITY: Final = "quantity"  # whole, from 1
NUMBER: Final = "number"  # from 0
POSITIVE: Final = "positive number"
SIGNED: Final = "signed number"
LENGTH: Final = "length"  # from 0, kept as typed

TEXTS: Final = (NAME, TEXT, LIST, WORD, LENGTH)
DAYS: Final = (DAY, PAST_DAY, MONTH)
NUMBERS: Final = (COUNT, QUANTITY, NUMBER, POSITIVE, SIGNED)

NOT_KEPT: Final = ""  # the field of a column that finds a record, or is kept another way

PIN: Final = re.compile(r"pin_[1-9][0-9]?")


@dataclass(frozen=True)
class Column:
    """
    One column, and the `field` of the table that keeps it.

    `may_be_blank` is for a column that must be there although its cells may be empty.
    """

    name: str
    kind: str
    required: bool = False
    words: tuple[str, ...] = ()
    field: str = ""
    may_be_blank: bool = False


def must(name: str, kind: str, words: tuple[str, ...] = (), *, field: str | None = None) -> Column:
    """Return a column that a file must have, with a value in each row; kept under its name unless `field` says."""
    return Column(name, kind, required=True, words=words, field=name if field is None else field)


def may(name: str, kind: str, words: tuple[str, ...] = (), *, field: str | None = None) -> Column:
    """Return a column that a file may have."""
    return Column(name, kind, words=words, field=name if field is None else field)


ANY_FILE: Final = (may("recorded_on", PAST_DAY, field=NOT_KEPT), may("work_order", TEXT), may("note", TEXT))


@dataclass(frozen=True)
class File:
    """
    One kind of record as a plain table.

    `key` tells rows apart, `ends` may be filled in later, `in_order` are days of which the second cannot be earlier,
    `one_of` are columns of which exactly one is wanted, `tells_of` are days that nobody can have written down before.
    """

    name: str
    own: tuple[Column, ...]
    key: tuple[str, ...]
    ends: tuple[str, ...] = ()
    in_order: tuple[tuple[str, str], ...] = ()
    one_of: tuple[str, ...] = ()
    tells_of: tuple[str, ...] = ()

    @property
    def columns(self) -> tuple[Column, ...]:
        """Its own columns, and those that any file may carry."""
        return self.own + ANY_FILE

    @property
    def fields(self) -> dict[str, str]:
        """The column that each field of the table is read from."""
        return {column.field: column.name for column in self.columns if column.field != NOT_KEPT}

    def field(self, name: str) -> str:
        """Return the field of the table that keeps a column."""
        column = self.column(name)
        return column.field or NOT_KEPT if column else NOT_KEPT

    def column(self, name: str) -> Column | None:
        """Return the column of this name; pins are numbered on as far as a brake has them."""
        if self.name == "pin_readings" and PIN.fullmatch(name):
            return Column(name, LENGTH, field=name)
        return next((column for column in self.columns if column.name == name), None)
