"""Records found by the names that a file gives; what is not found, or is not one, becomes a row error."""

import difflib
from collections.abc import Callable, Collection, Mapping
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy.orm import Session

from db.base import Fact
from db.chain import Act
from db.entry.keyed import NEXT_VERSION, Resolved, record_rows, shown
from db.entry.outcome import Outcome
from db.errors import RowError, RowsRefusedError
from db.files import File
from db.lookup import (
    NOT_FOUND,
    SEVERAL,
    aircraft_type_ids,
    base_ids,
    brake_type_ids,
    brakes_by_serial,
    find_aircraft,
    find_brakes,
    registrations,
)

NAMES_COMPARED: Final = 5_000  # beyond this, looking for a near name takes longer than reading the file

Text = str | Callable[[int, str], str]  # of a row and its value
Numbers = npt.NDArray[np.float64]  # record numbers, NaN where no name was given or it was not found
Mask = npt.NDArray[np.bool_]


class Named:
    """The rows of one file against the names in the ledger; errors are gathered, so that all are shown at once."""

    def __init__(self, session: Session, file: File, rows: pd.DataFrame) -> None:
        self.session = session
        self.file = file
        self.rows = rows
        self.errors: list[RowError] = []

    def bases(self) -> Numbers:
        """Record numbers of the bases."""
        return self._by_name("base", "base", base_ids(self.session))

    def aircraft_types(self) -> Numbers:
        """Record numbers of the aircraft types."""
        return self._by_name("aircraft_type", "aircraft type", aircraft_type_ids(self.session))

    def brake_types(self) -> Numbers:
        """Record numbers of the brake types."""
        return self._by_name("brake_type", "brake type", brake_type_ids(self.session))

    def brakes(self, serial: str = "serial", brake_type: str = "brake_type") -> Numbers:
        """Record numbers of the brakes, by serial and (where serials repeat) brake type."""
        found = find_brakes(self.session, self.rows[serial], self.rows[brake_type])
        given = (self.rows[serial] != "").to_numpy()
        bad = given & ((found == NOT_FOUND) | (found == SEVERAL))
        if bad.any():
            types: dict[str, list[str]] = {}
            for name, of_type in sorted(brakes_by_serial(self.session)):
                types.setdefault(name, []).append(of_type)
            wanted = dict(zip(self.rows["row"], self.rows[brake_type], strict=True))
            self.refuse(serial, bad, *_serial_advice(types, wanted))
        return _numbers(found, given & ~bad)

    def aircraft(self, day: "pd.Series[Any]") -> Numbers:
        """Record numbers of the aircraft that carried the registration on the row's day."""
        found = find_aircraft(self.session, self.rows["registration"], day)
        given = (self.rows["registration"] != "").to_numpy()
        bad = given & ((found == NOT_FOUND) | (found == SEVERAL))
        if bad.any():
            spans = registrations(self.session)
            days = dict(zip(self.rows["row"], day, strict=True))
            self.refuse("registration", bad, *registration_advice(spans, days))
        return _numbers(found, given & ~bad)

    def record(self, act: Act, model: type[Fact], **values: Any) -> Outcome:  # noqa: ANN401 - arrays of each field's kind
        """
        Append the rows by the key rule, unless something was refused.

        `values` are the fields that are not simply what the file says: record numbers, exact lengths, approval.
        """
        self.refuse_if_any()
        columns = self.file.fields
        given = {field: self.rows[column] for field, column in columns.items() if field not in values}
        table = pd.DataFrame(
            {
                **given,
                **values,
                **self.next_version(),
                "row": self.rows["row"],
                "known_on": self.rows["recorded_on"],
            }
        )
        return record_rows(self.session, act, model, Resolved(self.file, self.rows, table, columns))

    def next_version(self) -> "dict[str, pd.Series[Any]]":
        """Return the columns by which rows that correct a fact say which; none where rows are new."""
        return {name: self.rows[name] for name in NEXT_VERSION if name in self.rows}

    def refuse(self, column: str, bad: Mask, rule: Text, suggestion: Text) -> None:
        """Note an error in each of these rows; the texts may depend on row and value."""
        if not bad.any():
            return
        for row, value in self.rows.loc[bad, ["row", column]].itertuples(index=False):
            texts = [text if isinstance(text, str) else text(row, value) for text in (rule, suggestion)]
            self.errors.append(RowError(self.file.name, int(row), column, shown(value), *texts))

    def refuse_if_any(self) -> None:
        """Raise what was gathered."""
        if self.errors:
            raise RowsRefusedError(tuple(sorted(self.errors, key=lambda error: error.row)))

    def _by_name(self, column: str, kind: str, ids: Mapping[str, int]) -> Numbers:
        names = self.rows[column]
        found = np.asarray(names.map(ids), dtype=np.float64)
        bad = np.isnan(found) & (names != "").to_numpy()
        if bad.any():
            self.refuse(column, bad, f"no {kind} of this name is known", near(ids, kind))
        return found


def near(names: Collection[str], kind: str) -> Callable[[int, str], str]:
    """Suggest the name that looks most like the value, if one does."""

    def suggestion(_row: int, value: str) -> str:
        found = difflib.get_close_matches(value, names, n=1) if len(names) <= NAMES_COMPARED else []
        return f"{f'write {found[0]} if that is meant' if found else 'correct the name'}, or enter the {kind} first"

    return suggestion


def _numbers(found: npt.NDArray[np.int64], good: Mask) -> Numbers:
    return np.where(good, found.astype(np.float64), np.nan)


def _serial_advice(types: Mapping[str, list[str]], wanted: Mapping[int, str]) -> tuple[Text, Text]:
    nearest = near(types, "brake")

    def rule(row: int, value: str) -> str:
        if value not in types:
            return "no brake with this serial is known"
        if wanted[row]:
            return f"no brake of type {wanted[row]} has this serial; it is known of type {', '.join(types[value])}"
        return f"this serial occurs with the brake types {', '.join(types[value])}"

    def suggestion(row: int, value: str) -> str:
        if value in types:
            return f"write the brake_type: {' or '.join(types[value])}"
        return nearest(row, value)

    return rule, suggestion


def registration_advice(spans: pd.DataFrame, days: Mapping[int, pd.Timestamp]) -> tuple[Text, Text]:
    """What is wrong with a registration that no aircraft carried on the row's day, and what it was called then."""
    by_name = {str(name): held for name, held in spans.groupby("registration")}
    nearest = near(by_name, "aircraft")

    def rule(row: int, value: str) -> str:
        if value not in by_name:
            return "no aircraft with this registration is known"
        holders = by_name[value]["aircraft"].nunique()
        how_many = "no aircraft" if holders == 1 else "not one aircraft alone"
        return f"{how_many} carried this registration on {days[row].date()}"

    def suggestion(row: int, value: str) -> str:
        if value not in by_name:
            return nearest(row, value)
        holder = spans[spans["aircraft"].isin(by_name[value]["aircraft"])]
        on_day = holder[(holder["from_on"] <= days[row]) & (days[row] < holder["to_on"])]["registration"]
        return f"on that day it was {' or '.join(sorted(set(on_day)))}; write that, or check the day"

    return rule, suggestion
