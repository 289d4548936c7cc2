"""Reading a workbook (xlsx): each sheet as rows of texts, numbers and days as a CSV would have them."""

import datetime as dt
import itertools
import warnings
from collections.abc import Iterator
from typing import Any, Final

from openpyxl import load_workbook

from db.errors import RowError
from db.imports.csv_file import Opened
from db.imports.quoting import from_sheet
from db.imports.source import ROWS_AT_ONCE, Rows, Source
from db.imports.written import PLAIN, Written

LAST_ROW: Final = 1_048_576  # of a sheet, as the format has it (ECMA-376)
NO_VALUE: Final = "is a formula without a stored value"
PASTE_VALUES: Final = (
    "open and save the workbook in a spreadsheet, or paste the values in place of the formulas"
)

Cells = tuple[Any, ...]


def open_workbook(
    name: str, opened: Opened, written: Written = PLAIN, *, formulas: bool = True
) -> list[Source] | RowError:
    """
    Return every sheet as rows of texts, or why the workbook cannot be read.

    Cells that hold numbers and days are told as the file was said to write them, so that they are read like the rest.
    Without `formulas` (known not to have any) it is read once instead of twice.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions that bear no records
            values = load_workbook(opened(), read_only=True, data_only=True)
            if not formulas:
                return [_sheet(shown, None, written) for shown in values.worksheets]
            entered = load_workbook(opened(), read_only=True, data_only=False)
            pairs = zip(values.worksheets, entered.worksheets, strict=True)
            return [_sheet(shown, entered, written) for shown, entered in pairs]
    except Exception as error:  # noqa: BLE001 - a damaged workbook raises whatever its XML and zip parts come to
        return _damaged(name, 1, error)


def _damaged(name: str, row: int, error: Exception) -> RowError:
    rule = f"cannot be read as a workbook ({type(error).__name__}: {error})"[:200]
    return RowError(name, row, "", "", rule, "save it as xlsx again, or each sheet as CSV")


def _sheet(shown: Any, entered: Any, written: Written) -> Source:  # noqa: ANN401 - a read-only sheet, which openpyxl does not type
    total = shown.max_row or 0
    for sheet in filter(None, (shown, entered)):
        sheet.reset_dimensions()  # what a sheet says of its size is often wrong
    others = entered.iter_rows() if entered else itertools.repeat(())
    lines = zip(shown.iter_rows(), others, strict=False)
    first = next(lines, ((), ()))
    header = [_text(cell.value, written) for cell in first[0]]
    while header and not header[-1]:
        header.pop()
    return Source(shown.title, header, total, _rows(shown.title, header, lines, written), written)


def _rows(
    name: str, header: list[str], lines: Iterator[tuple[Cells, Cells]], written: Written
) -> Iterator[Rows]:
    first = 2
    while first <= LAST_ROW:
        taken: list[tuple[Cells, Cells]] = []
        problem: RowError | None = None
        try:
            taken.extend(itertools.islice(lines, ROWS_AT_ONCE))  # what came before an error stays
        except Exception as error:  # noqa: BLE001 - the same: sheets are parsed row by row
            problem = _damaged(name, first + len(taken), error)
        yield _even(name, header, taken, first, problem, written)
        if problem or len(taken) < ROWS_AT_ONCE:
            return
        first += len(taken)


def _even(  # noqa: PLR0913, PLR0917 - what was taken, from where, and how it is told
    name: str,
    header: list[str],
    taken: list[tuple[Cells, Cells]],
    first: int,
    problem: RowError | None,
    written: Written,
) -> Rows:
    """Rows as wide as the header; empty rows are passed over, values beside the header are errors."""
    numbers: list[int] = []
    texts: list[list[str]] = []
    errors = [] if problem is None else [problem]
    for number, (shown, entered) in enumerate(taken, first):
        line = [_text(cell.value, written) for cell in shown]
        errors += _formulas(name, number, header, line, entered)
        extra = [text for text in line[len(header) :] if text]
        if extra:
            rule = f"has values to the right of the header's {len(header)} columns"
            errors.append(
                RowError(name, number, "", extra[0][:80], rule, "name the column, or clear these cells")
            )
        elif any(line):
            numbers.append(number)
            texts.append((line + [""] * len(header))[: len(header)])
    return Rows(numbers, texts, tuple(errors), broken=problem is not None)


def _formulas(
    name: str, number: int, header: list[str], line: list[str], entered: Cells
) -> Iterator[RowError]:
    for place, cell in enumerate(entered):
        if cell.data_type == "f" and (place >= len(line) or not line[place]):
            column = header[place] if place < len(header) else ""
            yield RowError(name, number, column, str(cell.value)[:80], NO_VALUE, PASTE_VALUES)


def _text(value: object, written: Written) -> str:
    """Return a cell's value as a CSV of this writing would have it: days in its order, numbers at their shortest."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return written.day(value.date()) if value.time() == dt.time() else value.isoformat(sep=" ")
    if isinstance(value, dt.date):
        return written.day(value)
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float):
        whole = value.is_integer() and abs(value) < 1e15
        return written.number(str(int(value)) if whole else repr(value))
    return from_sheet(str(value))
