"""Rules that one row must keep within itself: what is required, what excludes what, which day comes first."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from db.files import File
from db.files.column import PIN

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Broken:
    """A rule, the columns that it looks at (the error shows in the first), and the rows that break it."""

    looks_at: tuple[str, ...]
    rows: Mask
    rule: str
    suggestion: str

    @property
    def column(self) -> str:
        """The column in which the error shows."""
        return self.looks_at[0]


def broken_rules(file: File, rows: pd.DataFrame) -> Iterator[Broken]:
    """Every rule of the file that some row breaks, with the rows that do."""
    return (broken for broken in _rules(file, rows) if broken.rows.any())


def _given(column: "pd.Series[Any]") -> Mask:
    """Return which cells say something."""
    if column.dtype.kind in "fM":
        return column.notna().to_numpy()
    return (column != "").to_numpy(dtype=bool)


def _before(rows: pd.DataFrame, column: str, other: str) -> Mask:
    return rows[column].to_numpy() < rows[other].to_numpy()


def _rules(file: File, rows: pd.DataFrame) -> Iterator[Broken]:
    for column in file.columns:
        if column.required and not column.may_be_blank:
            rule, suggestion = "is empty; a value is required", "write the value, or take the row out"
            yield Broken((column.name,), ~_given(rows[column.name]), rule, suggestion)
    if file.one_of:
        names = " or ".join(file.one_of)
        several = np.sum([_given(rows[name]) for name in file.one_of], axis=0) != 1
        yield Broken(
            file.one_of, several, f"exactly one of {names} is wanted", f"give {names}, not both or none"
        )
    for earlier, later in file.in_order:
        suggestion = f"check {later} and {earlier}"
        yield Broken((later, earlier), _before(rows, later, earlier), f"lies before {earlier}", suggestion)
    for day in file.tells_of:
        rule = f"lies before {day}; nobody can have written it down by then"
        yield Broken(
            ("recorded_on", day), _before(rows, "recorded_on", day), rule, f"check recorded_on and {day}"
        )
    if file.name == "pin_readings":
        pins = [name for name in rows.columns if PIN.fullmatch(name)]
        nothing = ~np.any([_given(rows[name]) for name in (*pins, "within_limit")], axis=0)
        yield Broken(
            (*pins, "within_limit"),
            nothing,
            "neither a pin nor within_limit is given",
            "write the pin, or within_limit yes or no",
        )
    if file.name == "installations":
        alone = _given(rows["removal_reason"]) & ~_given(rows["removed_on"])
        yield Broken(
            ("removed_on", "removal_reason"),
            alone,
            "is empty, but removal_reason is given",
            "write removed_on, or leave both empty",
        )
