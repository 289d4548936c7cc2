"""Cells of one column to values: each text is read once, however often it occurs."""

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np

from db.files import Column
from db.files.column import (
    COUNT,
    DAY,
    DAYS,
    LENGTH,
    LIST,
    MONTH,
    NAME,
    NUMBER,
    NUMBERS,
    PAST_DAY,
    POSITIVE,
    QUANTITY,
    SIGNED,
    TEXT,
    WORD,
)
from db.imports.days import parse_day, parse_month
from db.imports.numbers import parse_count, parse_length, parse_number
from db.imports.quoting import unquoted
from db.imports.refused import CellError
from db.imports.texts import parse_list, parse_name, parse_text, parse_word
from db.imports.written import PLAIN, Written

NOT_A_DAY: Final = int(np.iinfo(np.int64).min)  # as numpy writes "not a time"
REMEMBERED: Final = 200_000


class Cells(dict[str, Any]):
    """
    Values of the texts of one column: text, number, or days since 1970-01-01, blank where not known or refused.

    A dict, because looking up is what nearly all of a million cells need. `refused` has why, by text.
    """

    def __init__(self, column: Column, *, today: dt.date, written: Written = PLAIN) -> None:
        super().__init__()
        self.refused: dict[str, CellError] = {}
        self.blank = (
            "" if column.kind not in NUMBERS + DAYS else NOT_A_DAY if column.kind in DAYS else float("nan")
        )
        self._parse = _parser(column, today, written)

    def __missing__(self, text: str) -> Any:  # noqa: ANN401 - text, number or day
        """Read a text that was not met before."""
        if len(self) > REMEMBERED:
            self.clear()
        clean = text.strip(" ")
        try:
            self[text] = self._parse(clean) if clean else self.blank
        except CellError as error:
            self.refused[text] = error
            self[text] = self.blank
        return self[text]

    def read(self, texts: Sequence[str]) -> tuple[list[Any], dict[int, CellError]]:
        """Return the values of these cells, and why those at some places are refused."""
        values = list(map(self.__getitem__, texts))
        if not self.refused:
            return values, {}
        return values, {place: self.refused[text] for place, text in enumerate(texts) if text in self.refused}


def _parser(column: Column, today: dt.date, written: Written) -> Callable[[str], Any]:
    order = written.days

    def number(parse: Callable[[str], Any]) -> Callable[[str], Any]:
        return parse if written.decimal == "point" else _with_comma(parse, written)

    parsers: dict[str, Callable[[str], Any]] = {
        NAME: lambda text: parse_name(unquoted(text)),
        TEXT: lambda text: parse_text(unquoted(text)),
        LIST: lambda text: parse_list(unquoted(text)),
        WORD: lambda text: parse_word(text, column.words),
        LENGTH: number(parse_length),
        DAY: lambda text: parse_day(text, today=None, order=order),
        PAST_DAY: lambda text: parse_day(text, today=today, order=order),
        MONTH: lambda text: parse_month(text, order=order),
        COUNT: number(lambda text: parse_count(text, least=0)),
        QUANTITY: number(lambda text: parse_count(text, least=1)),
        NUMBER: number(lambda text: parse_number(text, least=0.0, above=False)),
        POSITIVE: number(lambda text: parse_number(text, least=0.0, above=True)),
        SIGNED: number(lambda text: parse_number(text, least=None, above=False)),
    }
    return parsers[column.kind]


def _with_comma(parse: Callable[[str], Any], written: Written) -> Callable[[str], Any]:
    """Return what reads numbers of a file with decimal commas, and advises in its writing."""

    def read(text: str) -> Any:  # noqa: ANN401 - a number, or a length as text
        try:
            return parse(written.with_point(text))
        except CellError as error:
            raise CellError(error.rule, written.advice(error.suggestion)) from error

    return read
