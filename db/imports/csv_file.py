"""Reading one CSV file: UTF-8, commas, a header; what cannot be read is said with its row."""

import csv
import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from db.errors import RowError
from db.imports.source import ROWS_AT_ONCE, Rows, Source

# The first bytes of files that are not text.
OTHER_FORMATS: Final = {
    b"PK\x03\x04": "is a zip file, as workbooks are (xlsx, ods)",
    b"\xd0\xcf\x11\xe0": "is an old workbook (xls)",
    b"%PDF": "is a PDF",
    b"\x1f\x8b": "is compressed (gzip)",
    b"\xff\xfe": "is text in UTF-16",
    b"\xfe\xff": "is text in UTF-16",
}
SAVE_AS_CSV: Final = "save it as CSV in UTF-8 and import that"
OTHER_DELIMITERS: Final = {";": "semicolons", "\t": "tabs", "|": "upright strokes"}


def open_csv(path: Path) -> Source | RowError:
    """Return the file as rows of texts, or why it cannot be."""
    name = path.stem
    with path.open("rb") as raw:
        head = raw.read(4)
        total = sum(block.count(b"\n") for block in iter(lambda: raw.read(1 << 20), b""))
    for mark, rule in OTHER_FORMATS.items():
        if head.startswith(mark):
            return RowError(name, 1, "", "", rule, SAVE_AS_CSV)
    lines = _lines(path)
    try:
        header = next(lines, None)
    except (csv.Error, UnicodeDecodeError) as error:
        return _unreadable(path, error, 1)
    if not header or header == [""]:
        return RowError(
            name, 1, "", "", "is empty; row 1 is the header", "write the header, or take the file away"
        )
    if len(header) == 1 and (used := next((mark for mark in OTHER_DELIMITERS if mark in header[0]), None)):
        rule = f"fields are parted by {OTHER_DELIMITERS[used]}; wanted commas"
        return RowError(name, 1, "", header[0][:80], rule, "save the file with commas, numbers with a point")
    return Source(name, header, max(total - 1, 0), _rows(path, lines, len(header)))


def _lines(path: Path) -> Iterator[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as text:
        yield from csv.reader(text, strict=True)


def _rows(path: Path, lines: Iterator[list[str]], width: int) -> Iterator[Rows]:
    first = 2
    while True:
        taken: list[list[str]] = []
        problem: RowError | None = None
        try:
            taken.extend(itertools.islice(lines, ROWS_AT_ONCE))  # what came before an error stays
        except (csv.Error, UnicodeDecodeError) as error:
            problem = _unreadable(path, error, first + len(taken))
        if taken or problem:
            yield _even(path.stem, taken, first, width, problem)
        if problem or len(taken) < ROWS_AT_ONCE:
            return
        first += len(taken)


def _even(name: str, taken: list[list[str]], first: int, width: int, problem: RowError | None) -> Rows:
    """Rows as wide as the header; blank lines are passed over, other widths are errors."""
    numbers = [number for number, line in enumerate(taken, first) if any(line)]
    texts = [line for line in taken if any(line)]
    errors = [] if problem is None else [problem]
    if set(map(len, texts)) - {width}:
        errors += [
            _uneven(name, n, line, width)
            for n, line in zip(numbers, texts, strict=True)
            if len(line) != width
        ]
        numbers = [number for number, line in zip(numbers, texts, strict=True) if len(line) == width]
        texts = [line for line in texts if len(line) == width]
    return Rows(numbers, texts, tuple(errors), broken=problem is not None)


def _uneven(name: str, number: int, line: list[str], width: int) -> RowError:
    rule = f"has {len(line)} values; the header has {width} columns"
    if len(line) > width:
        suggestion = "put a text that has a comma in double quotes; write numbers with a point"
    else:
        suggestion = "write every comma, also of empty values at the end"
    return RowError(name, number, "", ",".join(line)[:80], rule, suggestion)


def _unreadable(path: Path, error: csv.Error | UnicodeDecodeError, row: int) -> RowError:
    if isinstance(error, UnicodeDecodeError):
        row, found = _first_undecodable(path)
        return RowError(path.stem, row, "", found, "is not text in UTF-8", SAVE_AS_CSV)
    rule = f"cannot be read as CSV from this row on ({error})"
    return RowError(path.stem, row, "", "", rule, 'close every quote; inside quotes write "" for a quote')


def _first_undecodable(path: Path) -> tuple[int, str]:
    with path.open("rb") as raw:
        for row, line in enumerate(raw, 1):
            try:
                line.decode("utf-8")
            except UnicodeDecodeError:
                return row, line.decode("latin-1").strip()[:80]
    return 1, ""
