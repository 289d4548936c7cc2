"""Rows as plain columns: the values that the driver stores, and the same values as the log writes them."""

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from sqlalchemy import Column, Table
from sqlalchemy.sql.schema import ScalarElementColumnDefault

from db.errors import LedgerError

Rows = Sequence[Mapping[str, Any]] | pd.DataFrame
Columns = dict[str, list[Any]]


def plain_columns(table: Table, rows: Rows) -> Columns:
    """
    Columns of the table as lists of plain values, None where not known.

    Empty text, NaN and NaT in a frame mean "not known"; a column left out takes its default.
    """
    given = (
        list(rows.columns)
        if isinstance(rows, pd.DataFrame)
        else list(dict.fromkeys(k for row in rows for k in row))
    )
    unknown = set(given) - set(table.columns.keys())
    if unknown:
        raise LedgerError(
            f"{table.name} has no columns {sorted(unknown)}; wanted {', '.join(table.columns.keys())}"
        )
    return {column.name: _plain(column, rows, given=column.name in given) for column in table.columns}


def rows_of(columns: Columns) -> list[dict[str, Any]]:
    """Columns as the rows that an insert takes."""
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def logged(column: Column[Any], values: list[Any]) -> list[Any]:
    """Values as the log writes them: days as ISO text, fractions as their shortest text, the rest as they are."""
    kind = column.type.python_type
    if kind is dt.date:
        return [None if value is None else value.isoformat() for value in values]
    if kind is float:
        return [None if value is None else repr(value) for value in values]
    return values


def _plain(column: Column[Any], rows: Rows, *, given: bool) -> list[Any]:
    if not given:
        default = column.default
        return [default.arg if isinstance(default, ScalarElementColumnDefault) else None] * len(rows)
    if isinstance(rows, pd.DataFrame):
        return _checked(column, _from_series(rows[column.name], column.type.python_type))
    return _checked(column, [row.get(column.name) for row in rows])


def _from_series(series: "pd.Series[Any]", kind: type) -> list[Any]:
    if kind is dt.date:
        # As numpy days become Python days, and NaT becomes None.
        return series.to_numpy().astype("datetime64[D]").astype(object).tolist()
    values: list[Any] = series.tolist()
    if series.hasnans:
        values = [None if unknown else value for value, unknown in zip(values, series.isna(), strict=True)]
    if kind is str:
        return [value or None for value in values]
    if kind is int and series.dtype.kind == "f":
        if not all(value is None or value.is_integer() for value in values):
            raise LedgerError(f"{series.name} holds fractions; wanted whole numbers")
        return [None if value is None else int(value) for value in values]
    return values


def _checked(column: Column[Any], values: list[Any]) -> list[Any]:
    kind = column.type.python_type
    found = set(map(type, values)) - {kind, type(None)}
    if kind is float and found == {int}:
        return [value if value is None else float(value) for value in values]
    if found:
        raise LedgerError(f"{column.name} holds {sorted(f.__name__ for f in found)}; wanted {kind.__name__}")
    if kind is float and not all(value is None or math.isfinite(value) for value in values):
        raise LedgerError(f"{column.name} holds a number without end; wanted finite numbers")
    return values
