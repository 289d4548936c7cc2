"""Pieces of every correction: the version that withdraws a row, and a refusal that names the record."""

import datetime as dt
from collections.abc import Mapping
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


def row_from(kind: str, told: Mapping[str, str], *, today: dt.date) -> pd.DataFrame:
    """Return what a record tells as the typed row of its file; texts are quoted as an export quotes them."""
    texts = {}
    for name, text in told.items():
        column = ENTERED[kind].column(name)
        texts[name] = quoted(text) if column is None or column.kind in (LIST, NAME, TEXT) else text
    return rows_from(kind, [texts], today=today)


def refuse_record(found: Recorded, column: str, value: str, rule: str, suggestion: str) -> NoReturn:
    """Refuse a correction of this record."""
    raise RowsRefusedError((RowError(found.kind, 1, column, value, rule, suggestion),))
