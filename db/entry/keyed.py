"""
The key rule, one way for every file.

Same key and same values: skipped. A blank end filled in: completed. Anything else different: refused, it is a matter
for Corrections. A blank says nothing, so it never contradicts what is on record.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.chain import Act, append
from db.entry.outcome import Outcome
from db.entry.undone import brought_back
from db.errors import RowError, RowsRefusedError
from db.files import File
from db.frames import frame_of
from db.lookup import among, current
from db.plain import plain_columns

# Columns of rows that are the next version of a fact on record: a correction.
NEXT_VERSION: Final = ("fact", "version", "supersedes")
ADVICE: Final = "enter a correction under Corrections, or take the value out of the file"


@dataclass(frozen=True)
class Resolved:
    """
    Rows of a file as the table has them.

    `typed` is the file's frame; `rows` has its index, the table's columns, `row` and `known_on`. `columns` maps the
    table's columns to the file's columns that they came from (`{"brake": "serial", ...}`).
    """

    file: File
    typed: pd.DataFrame
    rows: pd.DataFrame
    columns: Mapping[str, str]

    @property
    def key(self) -> list[str]:
        """The table's columns that tell rows apart."""
        return [column for column, source in self.columns.items() if source in self.file.key]


@dataclass(frozen=True)
class Sorted:
    """
    Rows by what the ledger has to do with them.

    `new` are rows as they came in; `completed` carry every value of the fact with its `fact`, its next `version` and
    the record that it `supersedes`; `same` is how many add nothing; `errors` are those that contradict.
    """

    new: pd.DataFrame
    completed: pd.DataFrame
    same: int
    errors: tuple[RowError, ...]


def other_facts(known: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Return facts on record but for those that these rows are the next version of."""
    return known[~known["fact"].isin(rows["fact"])] if "fact" in rows else known


def sort_by_key(resolved: Resolved, known: pd.DataFrame) -> Sorted:
    """
    Compare rows with what is on record, and with the rows above them.

    `known` has every column of the table, one row a key; a fact that a row corrects does not count.
    """
    rows, columns = resolved.rows, resolved.columns
    key = resolved.key
    known = _near(other_facts(known, rows), rows, key)
    values = [column for column in columns if column not in key]
    ends = [column for column in values if columns[column] in resolved.file.ends]
    again = rows.duplicated(key)
    if known.empty and not again.any():  # as most that is typed: nothing there to compare it with
        none = known.drop(columns=["id", "seq"], errors="ignore").assign(row=rows["row"].iloc[:0])
        return Sorted(new=rows, completed=none, same=0, errors=())
    first, later = rows[~again], rows[again]
    above, before = _beside(later, first, key), _beside(first, known, key)
    found = before["row_found"]
    filled = _given(first[ends]) & ~_given(before[ends]) & _spread(found, ends)
    clash = _different(first, before, values) & _spread(found, values)
    clash[ends] = clash[ends] & ~filled
    clash_above = _different(later, above, values)
    clashing, completing = clash.any(axis=1), filled.any(axis=1)
    errors = [
        *_errors(resolved, clash, before, "the record already there has"),
        *_errors(resolved, clash_above, above, "a row above with the same key has"),
    ]
    done = completing & ~clashing
    return Sorted(
        new=first[~found],
        completed=_completed(before[done], first[done], ends),
        same=int((found & ~clashing & ~completing).sum()) + int((~clash_above.any(axis=1)).sum()),
        errors=tuple(sorted(errors, key=lambda error: error.row)),
    )


def record_rows(session: Session, act: Act, model: type[Fact], resolved: Resolved) -> Outcome:
    """Append what is new or completed by the key rule; anything that contradicts refuses all of it."""
    known = known_rows(session, model, resolved)
    rows = brought_back(session, resolved.rows, resolved.key, known)
    found = sort_by_key(replace(resolved, rows=rows), known)
    if found.errors:
        raise RowsRefusedError(found.errors)
    parts = [(model, part.drop(columns="row")) for part in (found.new, found.completed) if len(part)]
    if parts:
        append(session, act, parts)
    return Outcome(added=len(found.new), same=found.same, completed=len(found.completed))


def known_rows(session: Session, model: type[Fact], resolved: Resolved) -> pd.DataFrame:
    """Facts on record that can share a key with these rows; withdrawn ones too, so that no row brings them back."""
    statement = current(model, withdrawn=True)
    for column, source in resolved.columns.items():
        if source in resolved.file.key and _given(resolved.rows[[column]]).all(axis=None):
            values = plain_columns(table_of(model), resolved.rows[[column]].drop_duplicates())[column]
            statement = statement.where(among(getattr(model, column), values))
    return frame_of(session, statement)


def _near(known: pd.DataFrame, rows: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """Return at least the facts that share a key with a row: those of which each part is some row's."""
    near = np.ones(len(known), dtype=bool)
    for column in key:
        if near.any():
            near &= known[column].isin(rows[column]).to_numpy()
    return known if near.all() else known[near]


def _beside(rows: pd.DataFrame, others: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """For each row the other row with the same key, blank where there is none (`row_found` says so)."""
    others = others.drop_duplicates(key, keep="last").assign(row_found=True)
    joined = rows[key].merge(others, on=key, how="left").set_index(rows.index)
    return joined.assign(row_found=joined["row_found"].eq(True))


def _given(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.notna() & (frame != "")


def _different(rows: pd.DataFrame, others: pd.DataFrame, values: list[str]) -> pd.DataFrame:
    return _given(rows[values]) & (rows[values] != others[values])


def _spread(mask: "pd.Series[bool]", columns: list[str]) -> pd.DataFrame:
    return pd.DataFrame(dict.fromkeys(columns, mask), index=mask.index, columns=columns)


def _completed(before: pd.DataFrame, rows: pd.DataFrame, ends: list[str]) -> pd.DataFrame:
    filled = before[ends].where(~_given(rows[ends]), rows[ends])
    return before.drop(columns=["row_found", "id", "seq"], errors="ignore").assign(
        **{column: filled[column] for column in ends},
        supersedes=before["id"],
        version=before["version"] + 1,
        known_on=rows["known_on"],
        row=rows["row"],
    )


def _errors(resolved: Resolved, clash: pd.DataFrame, others: pd.DataFrame, which: str) -> list[RowError]:
    errors = []
    for column, source in resolved.columns.items():
        if column not in clash or not clash[column].any():
            continue
        clashing = clash.index[clash[column]]
        typed = resolved.typed.loc[clashing]
        for row, value, there in zip(typed["row"], typed[source], others.loc[clashing, column], strict=True):
            # The record number of a brake or a base means nothing to the reader of a file.
            has = "another" if column != source and isinstance(there, float) else shown(there) or "none"
            errors.append(
                RowError(resolved.file.name, int(row), source, shown(value), f"{which} {has}", ADVICE)
            )
    return errors


def shown(value: Any) -> str:  # noqa: ANN401 - a cell: text, number or day
    """Return a cell as the file would have it."""
    if isinstance(value, str):
        return value
    if pd.isna(value):
        return ""
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return str(int(value)) if float(value).is_integer() else repr(float(value))
