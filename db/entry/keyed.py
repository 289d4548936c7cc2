"""
The key rule, one way for every file.

Same key and same values: skipped. A blank end filled in: completed. Anything else different: refused, it is a matter
for Corrections. A blank says nothing, so it never contradicts what is on record.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.chain import Act, append
from db.entry.outcome import Outcome, RowRecord
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
    the record that it `supersedes`; `same` is how many add nothing; `errors` are those that contradict. `there` has
    `row`, `fact` and `version` of those on record that say the same, `repeats` the row above for rows that come again.
    """

    new: pd.DataFrame
    completed: pd.DataFrame
    same: int
    errors: tuple[RowError, ...]
    there: pd.DataFrame
    repeats: Mapping[int, int]


def other_facts(known: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Return facts on record but for those that these rows are the next version of."""
    return known[~known["fact"].isin(rows["fact"])] if "fact" in rows else known


def sort_by_key(resolved: Resolved, known: pd.DataFrame, *, from_file: bool = False) -> Sorted:
    """
    Compare rows with what is on record, and with the rows above them.

    `known` has every column of the table; a fact that a row corrects does not count. What was withdrawn by itself is
    not brought back: a row typed now is refused by its number, a file's is left out, since the file may only be old.
    """
    rows, columns = resolved.rows, resolved.columns
    key = resolved.key
    known = _near(other_facts(known, rows), rows, key)
    values = [column for column in columns if column not in key]
    ends = [column for column in values if columns[column] in resolved.file.ends]
    again = rows.duplicated(key)
    if known.empty and not again.any():  # as most that is typed: nothing there to compare it with
        none = known.drop(columns=["id", "seq"], errors="ignore").assign(row=rows["row"].iloc[:0])
        return Sorted(new=rows, completed=none, same=0, errors=(), there=none, repeats={})
    first, later = rows[~again], rows[again]
    above, before = _beside(later, first, key), _beside(first, known, key)
    found = before["row_found"]
    filled = _given(first[ends]) & ~_given(before[ends]) & _spread(found, ends)
    clash = _different(first, before, values) & _spread(found, values)
    clash[ends] = clash[ends] & ~filled
    clash_above = _different(later, above, values)
    gone = found & before["withdrawn"].eq(True) & (not from_file)
    clash[gone], filled[gone] = False, False
    clashing, completing = clash.any(axis=1) | gone, filled.any(axis=1)
    errors = [
        *_gone(resolved, before[gone]),
        *_errors(resolved, clash, before, "the record already there has"),
        *_errors(resolved, clash_above, above, "a row above with the same key has"),
    ]
    done, same = completing & ~clashing, found & ~clashing & ~completing
    return Sorted(
        new=first[~found],
        completed=_completed(before[done], first[done], ends),
        same=int(same.sum()) + int((~clash_above.any(axis=1)).sum()),
        errors=tuple(sorted(errors, key=lambda error: error.row)),
        there=before[same].assign(row=first.loc[same, "row"]),
        repeats=dict(zip(later["row"].tolist(), _rows_above(first, later, key), strict=True)),
    )


def records_of(act: Act, found: Sorted, *made: tuple[pd.DataFrame, Iterable[int]]) -> tuple[RowRecord, ...]:
    """Return the record of each row typed: of those `made` (rows and the numbers given) and those there before."""
    if act.from_file:
        return ()
    every = [each for rows, numbers in made for each in numbered(rows, numbers)]
    every += (replace(each, new=False) for each in numbered(found.there, found.there["fact"].tolist()))
    records = {each.row: each for each in every}
    for row, above in found.repeats.items():
        if above in records:
            records[row] = replace(records[above], row=int(row), new=False)
    return tuple(records[row] for row in sorted(records))


def numbered(rows: pd.DataFrame, numbers: Iterable[int]) -> list[RowRecord]:
    """Return the record of each row: the number given, or the fact of which it is a later version."""
    blank = [np.nan] * len(rows)
    facts, versions = (rows[name].tolist() if name in rows else blank for name in ("fact", "version"))
    each = zip(rows["row"].tolist(), numbers, facts, versions, strict=True)
    return [
        RowRecord(int(row), int(number if np.isnan(fact) else fact), 1 if np.isnan(version) else int(version))
        for row, number, fact, version in each
    ]


def record_rows(session: Session, act: Act, model: type[Fact], resolved: Resolved) -> Outcome:
    """Append what is new or completed by the key rule; anything that contradicts refuses all of it."""
    known = known_rows(session, model, resolved)
    rows = brought_back(session, resolved.rows, resolved.key, known)
    found = sort_by_key(replace(resolved, rows=rows), known, from_file=act.from_file)
    if found.errors:
        raise RowsRefusedError(found.errors)
    parts = [part for part in (found.new, found.completed) if len(part)]
    made = (
        append(session, act, [(model, part.drop(columns="row")) for part in parts]).records if parts else ()
    )
    records = records_of(act, found, *zip(parts, made, strict=True))
    return Outcome(len(found.new), found.same, len(found.completed), records=records)


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
    if "withdrawn" in others:  # of several the one that stands
        others = others.sort_values("withdrawn", ascending=False, kind="stable")
    others = others.drop_duplicates(key, keep="last").assign(row_found=True)
    joined = rows[key].merge(others, on=key, how="left").set_index(rows.index)
    return joined.assign(row_found=joined["row_found"].eq(True))


def _rows_above(first: pd.DataFrame, later: pd.DataFrame, key: list[str]) -> list[int]:
    if later.empty:
        return []
    above: list[int] = later[key].merge(first[[*key, "row"]], on=key, how="left")["row"].tolist()
    return above


def _gone(resolved: Resolved, withdrawn: pd.DataFrame) -> list[RowError]:
    """Refuse rows typed again of records that somebody withdrew."""
    column = next(iter(resolved.file.key))
    typed = resolved.typed.loc[withdrawn.index]
    return [
        RowError(
            resolved.file.name,
            int(row),
            column,
            shown(value),
            f"was entered before as record {fact:.0f} and withdrawn",
            f"bring record {fact:.0f} back under Corrections, with other values if they differ",
        )
        for row, value, fact in zip(typed["row"], typed[column], withdrawn["fact"], strict=True)
    ]


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
