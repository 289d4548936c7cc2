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


def write(
    result: object, form: str, *, rows: Sequence[object] | None = None, columns: Sequence[str] = ()
) -> None:
    """
    Print a result; `rows` are what a table or CSV lists, the result itself where it is a list.

    A table is for eyes: rounded, only the `columns` named (all where none are), warnings beneath. CSV and JSON carry
    everything.
    """
    if form == "json":
        json.dump(plain(result), sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
        sys.stdout.write("\n")
        return
    listed = rows if rows is not None else result
    told = [plain(row) for row in (listed if isinstance(listed, (list, tuple)) else [listed])]
    _csv([flat(row) for row in told]) if form == "csv" else _table(told, columns)


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


def _table(told: list[Row], chosen: Sequence[str]) -> None:
    notes = [row.get("warnings", []) for row in told]
    rows = [flat({key: value for key, value in row.items() if key != "warnings"}) for row in told]
    columns = list(chosen) or _columns(rows)
    cells = [columns, *([_cell(column, row.get(column)) for column in columns] for row in rows)]
    widths = [max(len(line[at]) for line in cells) for at in range(len(columns))]
    numeric = [
        all(isinstance(row.get(column), (int, float, type(None))) for row in rows) for column in columns
    ]
    for line, beneath in zip(cells, [[], *notes], strict=True):
        parts = (
            cell.rjust(width) if number else cell.ljust(width)
            for cell, width, number in zip(line, widths, numeric, strict=True)
        )
        sys.stdout.write("  ".join(parts).rstrip() + "\n")
        sys.stdout.writelines(f"    {note}\n" for note in beneath)


def _cell(column: str, value: object) -> str:
    """A figure as read: millimetres to a tenth, landings whole, others to three digits."""
    if value is None:
        return "-"
    if isinstance(value, float) and column.endswith("_mm"):
        return f"{value:.1f}"
    if (
        isinstance(value, float)
        and ("landings" in column or abs(value) >= 1000)
        and "per_landing" not in column
    ):
        return f"{value:,.0f}".replace(",", " ")
    return f"{value:.3g}" if isinstance(value, float) else str(value)
