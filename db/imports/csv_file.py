"""Reading one CSV file: a header, then rows, in the encoding said; what cannot be read is said with its row."""

import csv
import io
import itertools
from collections.abc import Callable, Iterator
from typing import BinaryIO, Final

from db.errors import RowError
from db.imports.source import ROWS_AT_ONCE, Rows, Source
from db.imports.written import PLAIN, Written

# The first bytes of files that are not text.
OTHER_FORMATS: Final = {
    b"PK\x03\x04": "is a zip file, as workbooks are (xlsx, ods)",
    b"\xd0\xcf\x11\xe0": "is an old workbook (xls)",
    b"%PDF": "is a PDF",
    b"\x1f\x8b": "is compressed (gzip)",
    b"\xff\xfe": "is text in UTF-16",
    b"\xfe\xff": "is text in UTF-16",
}
SAVE_AS_CSV: Final = "say its encoding, or save it as CSV in UTF-8 and bring that in"
MARKS: Final = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "upright strokes"}


# Opens the file anew, as bytes from its beginning.
Opened = Callable[[], BinaryIO]


def open_csv(name: str, opened: Opened, written: Written = PLAIN) -> Source | RowError:
    """Return the file as rows of texts, or why it cannot be."""
    with opened() as raw:
        head = raw.read(4)
        total = sum(block.count(b"\n") for block in iter(lambda: raw.read(1 << 20), b""))
    if rule := _other_format(head, written):
        return RowError(name, 1, "", "", rule, SAVE_AS_CSV)
    lines = _lines(opened, written)
    try:
        header = next(lines, None)
    except (csv.Error, UnicodeError) as error:
        return _unreadable(name, opened, written, error, 1)
    if not header or header == [""]:
        return RowError(
            name, 1, "", "", "is empty; row 1 is the header", "write the header, or take the file away"
        )
    if len(header) == 1 and (used := _other_mark(header[0], written)):
        rule = f"fields are parted by {used}; wanted {MARKS[written.mark]}"
        advice = "say so (separator), or save the file with commas, numbers with a point"
        return RowError(name, 1, "", header[0][:80], rule, advice)
    rows = _rows(name, opened, written, lines, len(header))
    return Source(name, header, max(total - 1, 0), rows, written)


def _other_format(head: bytes, written: Written) -> str:
    """Say what the first bytes are, where they are no text of this encoding."""
    utf_16 = written.codec == "utf-16"
    found = (rule for mark, rule in OTHER_FORMATS.items() if head.startswith(mark))
    return next((rule for rule in found if not (utf_16 and "UTF-16" in rule)), "")


def _other_mark(header: str, written: Written) -> str:
    others = (mark for mark in MARKS if mark != written.mark and mark in header)
    return next((MARKS[mark] for mark in others), "")


def _lines(opened: Opened, written: Written) -> Iterator[list[str]]:
    with io.TextIOWrapper(opened(), encoding=written.codec, newline="") as text:
        yield from csv.reader(text, strict=True, delimiter=written.mark)


def _rows(
    name: str, opened: Opened, written: Written, lines: Iterator[list[str]], width: int
) -> Iterator[Rows]:
    first = 2
    while True:
        taken: list[list[str]] = []
        problem: RowError | None = None
        try:
            taken.extend(itertools.islice(lines, ROWS_AT_ONCE))  # what came before an error stays
        except (csv.Error, UnicodeError) as error:
            problem = _unreadable(name, opened, written, error, first + len(taken))
        if taken or problem:
            yield _even(name, taken, first, width, problem)
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


def _unreadable(
    name: str, opened: Opened, written: Written, error: csv.Error | UnicodeError, row: int
) -> RowError:
    if isinstance(error, UnicodeError):
        row, found = _first_undecodable(opened, written)
        return RowError(name, row, "", found, f"is not text in {written.encoding.upper()}", SAVE_AS_CSV)
    rule = f"cannot be read as CSV from this row on ({error})"
    return RowError(name, row, "", "", rule, 'close every quote; inside quotes write "" for a quote')


def _first_undecodable(opened: Opened, written: Written) -> tuple[int, str]:
    if written.codec == "utf-16":
        return 1, ""  # its lines are not those of the bytes
    with opened() as raw:
        for row, line in enumerate(raw, 1):
            try:
                line.decode(written.codec)
            except UnicodeDecodeError:
                return row, line.decode("latin-1").strip()[:80]
    return 1, ""
