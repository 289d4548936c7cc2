"""Query results as frames, each column with the type that the files and the arithmetic use."""

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import Select
from sqlalchemy.orm import Session


def frame_of(session: Session, statement: Select[*tuple[Any, ...]]) -> pd.DataFrame:
    """
    Rows of a query as a frame: text is str ("" not known), a day datetime64[s] (NaT), a number float64 (NaN).

    A whole number that is never unknown in its table is int64, and so is a record number.
    """
    columns = list(statement.selected_columns)
    rows = session.execute(statement).all()
    values = list(zip(*rows, strict=True)) if rows else [()] * len(columns)
    typed = {
        column.key: _typed(column.type.python_type, list(given), known=not getattr(column, "nullable", True))
        for column, given in zip(columns, values, strict=True)
    }
    return pd.DataFrame(typed)


def _typed(kind: type, values: list[Any], *, known: bool) -> Any:  # noqa: ANN401 - an array of numbers, days or texts
    if kind is dt.date:
        return np.array(values, dtype="datetime64[D]").astype("datetime64[s]")
    if kind is str:
        return pd.array(["" if value is None else value for value in values], dtype="str")
    if kind is bool:
        return np.array(values, dtype=bool)
    if kind is int and known:
        return np.array(values, dtype=np.int64)
    return np.array(values, dtype=np.float64)


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a frame's rows one by one, for sentences about them."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]
