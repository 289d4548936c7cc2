"""Pieces of every correction: the version that withdraws a row, and a refusal that names the record."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, NoReturn

import pandas as pd
from sqlalchemy import Row

from db.errors import RowError, RowsRefusedError
from db.files import ENTERED
from db.files.column import LIST, NAME, TEXT
from db.imports.check import rows_from
from db.imports.quoting import quoted
from db.recorded import Recorded


def withdrawn_version(row: Row[Any]) -> dict[str, Any]:
    """Return the next version of the row of a fact: the same values, withdrawn."""
    version = dict(zip(row._fields, row, strict=True))
    said = {"supersedes": version.pop("id"), "version": version["version"] + 1, "withdrawn": True}
    return {**version, **said, "known_on": None, "reason": None, "seq": None}


def typed_rows(kind: str, told: Sequence[Mapping[str, str]], *, today: dt.date) -> pd.DataFrame:
    """Return texts meant as they stand as the typed rows of their file: quoted as an export quotes them."""
    columns = {name: ENTERED[kind].column(name) for row in told for name in row}
    texts = {name for name, column in columns.items() if column is None or column.kind in (LIST, NAME, TEXT)}
    rows = [{name: quoted(text) if name in texts else text for name, text in row.items()} for row in told]
    return rows_from(kind, rows, today=today)


def refuse_record(found: Recorded, column: str, value: str, rule: str, suggestion: str) -> NoReturn:
    """Refuse a correction of this record."""
    raise RowsRefusedError((RowError(found.kind, 1, column, value, rule, suggestion),))
