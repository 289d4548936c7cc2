"""The format of rows: each cell of its kind, each row consistent in itself; nothing here asks the database."""

import datetime as dt
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from db.errors import RowError, RowsRefusedError
from db.files import ENTERED, GIVES_NAMES, Column, File
from db.files.column import DAYS, NUMBERS
from db.imports.cells import NOT_A_DAY, Cells
from db.imports.header import Header, read_header
from db.imports.measures import factor
from db.imports.refused import CellError, Findings
from db.imports.source import Meter, Rows, Source
from db.imports.swapped import hint, swapped_by_kind
from db.imports.within import Broken, Mask, broken_rules

DECIMALS: Final = 9  # of a figure turned into our unit: beyond that it is the arithmetic that shows


@dataclass(frozen=True)
class Checked:
    """
    The rows of one file that are good in themselves, as a frame with every column of the file and `row`.

    `lost` are the names that refused rows would have brought in. `whole` is false where the file could not be read to
    its end or lacks a required column. `total` rows were met, `wrong` of them have an error of their own.
    """

    file: File
    rows: pd.DataFrame
    lost: frozenset[str]
    whole: bool
    total: int
    wrong: int


def check_source(source: Source, findings: Findings, meter: Meter, *, today: dt.date) -> Checked:
    """Read and check one source; what is wrong goes to the findings."""
    file = ENTERED[source.name]
    header = read_header(file, source.header)
    findings.add(*header.errors)
    cells = {
        place: Cells(column, today=today, written=source.written) for place, column in header.places.items()
    }
    frames: list[pd.DataFrame] = []
    whole, wrong = header.complete, 0
    total, lost, swapped = 0, set[str](), set[str]()
    for at, rows in enumerate(source.rows):
        findings.add(*rows.errors)
        if at == 0 and (swapped := swapped_by_kind(header.places, rows, cells)):
            findings.add(hint(file.name, *sorted(swapped)))
        unread = {error.row for error in rows.errors if error.row > 1}
        frame, bad = _judged(file, header, rows, cells, findings, swapped)
        if any_bad := bool(bad.any()):
            lost |= names_given(file.name, frame[bad])
        frames.append(_in_our_units(frame[~bad] if any_bad else frame, source))
        whole = whole and not rows.broken
        met = unread | set(rows.numbers) if unread else rows.numbers
        total, wrong = total + len(met), wrong + len(unread | set(frame.loc[bad, "row"]))
        meter.add(len(rows.numbers))
    rows_good = pd.concat(frames or [_frame(file, [], {})], ignore_index=True)
    return Checked(file, rows_good, frozenset(lost), whole, total, wrong)


def _in_our_units(frame: pd.DataFrame, source: Source) -> pd.DataFrame:
    """Return figures that the file gives in other units in ours."""
    if not source.units:
        return frame
    columns = [(name, column) for name in source.units if (column := ENTERED[source.name].column(name))]
    return frame.assign(
        **{
            name: (frame[name] * factor(column, source.units[name])).round(DECIMALS)
            for name, column in columns
        }
    )


def names_given(file_name: str, rows: pd.DataFrame) -> set[str]:
    """Names that these rows bring in for others to use."""
    column, _ = GIVES_NAMES.get(file_name, ("", ""))
    return set(rows[column]) - {""} if column else set()


def rows_from(name: str, entered: Sequence[Mapping[str, str]], *, today: dt.date) -> pd.DataFrame:
    """Return rows typed elsewhere (a form) as a file's frame, counted from 1; everything wrong is one error."""
    columns = list(dict.fromkeys(column for row in entered for column in row))
    texts = [[row.get(column, "") for column in columns] for row in entered]
    rows = Rows(list(range(1, len(texts) + 1)), texts)
    findings = Findings()
    source = Source(name, columns, len(texts), iter([rows]))
    checked = check_source(source, findings, Meter(None, 0), today=today)
    if findings.total:
        raise RowsRefusedError(tuple(findings.kept))
    return checked.rows


def _judged(  # noqa: PLR0913, PLR0917 - a file, its rows, and what is known of them
    file: File,
    header: Header,
    rows: Rows,
    cells: Mapping[int, Cells],
    findings: Findings,
    swapped: Collection[str],
) -> tuple[pd.DataFrame, Mask]:
    """
    Return all rows, and which of them are bad; what is wrong goes to the findings.

    Of `swapped` columns no cell is judged; that they are swapped is said already.
    """
    by_place = list(zip(*rows.texts, strict=True)) or [()] * (max(header.places, default=0) + 1)
    typed = {column.name: by_place[place] for place, column in header.places.items()}
    values: dict[str, list[Any]] = {}
    length = len(rows.numbers)
    unread = _unread(file, header, rows) | {name: np.ones(length, dtype=bool) for name in swapped}
    for place, column in header.places.items():
        values[column.name], refused = cells[place].read(typed[column.name])
        if column.name in swapped:
            continue
        findings.add_many(_cell_errors(file, rows, column, typed[column.name], refused), len(refused))
        if refused:
            unread.setdefault(column.name, np.zeros(length, dtype=bool))[list(refused)] = True
    frame = _frame(file, rows.numbers, values)
    bad = _any(unread.values(), length)
    for broken in broken_rules(file, frame):
        hit = broken.rows & ~_any((unread[name] for name in broken.looks_at if name in unread), length)
        findings.add_many(_rule_errors(file, rows, broken, typed, hit), int(hit.sum()))
        bad |= hit
    return frame, bad


def _any(masks: Iterable[Mask], length: int) -> Mask:
    """Return which rows any of these masks hits."""
    hit = np.zeros(length, dtype=bool)
    for mask in masks:
        hit |= mask
    return hit


def _unread(file: File, header: Header, rows: Rows) -> dict[str, Mask]:
    """Cells that cannot be judged, by column: their error is known already, or a required column is not there."""
    length, present = len(rows.numbers), {column.name for column in header.places.values()}
    unread = {
        column.name: np.ones(length, dtype=bool)
        for column in file.columns
        if column.required and column.name not in present
    }
    place = {number: at for at, number in enumerate(rows.numbers)} if rows.errors else {}
    for error in rows.errors:
        if error.row in place and error.column in present:
            unread.setdefault(error.column, np.zeros(length, dtype=bool))[place[error.row]] = True
    return unread


def _cell_errors(
    file: File, rows: Rows, column: Column, typed: Sequence[str], refused: Mapping[int, CellError]
) -> Iterator[RowError]:
    for at, error in refused.items():
        yield RowError(file.name, rows.numbers[at], column.name, typed[at][:80], error.rule, error.suggestion)


def _rule_errors(
    file: File, rows: Rows, broken: Broken, typed: Mapping[str, Sequence[str]], hit: Mask
) -> Iterator[RowError]:
    for at in np.flatnonzero(hit):
        value = typed[broken.column][int(at)][:80] if broken.column in typed else ""
        yield RowError(file.name, rows.numbers[at], broken.column, value, broken.rule, broken.suggestion)


def _frame(file: File, numbers: Sequence[int], values: Mapping[str, list[Any]]) -> pd.DataFrame:
    """Every column of the file, and the pins that there are, each with the type of its kind."""
    pins = [column for name in values if (column := file.column(name)) and column not in file.columns]
    columns = {
        column.name: _typed(column, values.get(column.name), len(numbers))
        for column in (*file.columns, *pins)
    }
    return pd.DataFrame({"row": np.array(numbers, dtype=np.int64), **columns})


def _typed(column: Column, values: list[Any] | None, length: int) -> Any:  # noqa: ANN401 - an array of numbers, days or texts
    if column.kind in NUMBERS:
        return np.full(length, np.nan) if values is None else np.array(values, dtype=np.float64)
    if column.kind in DAYS:
        days = np.full(length, NOT_A_DAY) if values is None else np.array(values, dtype=np.int64)
        return days.view("datetime64[D]").astype("datetime64[s]")
    return pd.array([""] * length if values is None else values, dtype="str")
