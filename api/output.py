"""Results on the command line: the same objects as a table, JSON or CSV."""

import csv
import dataclasses
import datetime as dt
import json
import sys
from collections.abc import Sequence
from typing import Any

Row = dict[str, Any]


def plain(value: object) -> Any:  # noqa: ANN401 - JSON's own types
    """A result as JSON's own types: dataclasses as objects, days as ISO text."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    return value


def write(result: object, form: str, *, rows: Sequence[object] | None = None) -> None:
    """Print a result; `rows` are what a table or CSV lists, the result itself where it is a list."""
    if form == "json":
        json.dump(plain(result), sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
        sys.stdout.write("\n")
        return
    listed = rows if rows is not None else result
    lines = [flat(plain(row)) for row in (listed if isinstance(listed, (list, tuple)) else [listed])]
    _csv(lines) if form == "csv" else _table(lines)


def flat(row: Row) -> Row:
    """One level of names: `elements: {overhaul: 3}` becomes a column `overhaul`."""
    level: Row = {}
    for key, value in row.items():
        if isinstance(value, dict):
            level.update(value)
        elif isinstance(value, list):
            level[key] = "; ".join(map(str, value))
        else:
            level[key] = value
    return level


def _columns(rows: list[Row]) -> list[str]:
    return list(dict.fromkeys(column for row in rows for column in row))


def _csv(rows: list[Row]) -> None:
    writer = csv.DictWriter(sys.stdout, _columns(rows), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)


def _table(rows: list[Row]) -> None:
    columns = _columns(rows)
    cells = [columns, *([_cell(row.get(column)) for column in columns] for row in rows)]
    widths = [max(len(line[at]) for line in cells) for at in range(len(columns))]
    numeric = [
        all(isinstance(row.get(column), (int, float, type(None))) for row in rows) for column in columns
    ]
    for line in cells:
        parts = (
            cell.rjust(width) if number else cell.ljust(width)
            for cell, width, number in zip(line, widths, numeric, strict=True)
        )
        sys.stdout.write("  ".join(parts).rstrip() + "\n")


def _cell(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, float):
        return f"{value:.6g}" if abs(value) < 1000 else f"{value:,.0f}".replace(",", " ")
    return str(value)
