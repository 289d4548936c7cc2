"""An upload opened by what it is, not by what it is called: a workbook or text; read as rows of texts within limits."""

import csv
import io
import re
from typing import Final

from db.errors import RowError
from db.imports.csv_file import OTHER_FORMATS, open_csv
from db.imports.source import Source, is_readme
from db.imports.written import Written
from db.uploads.archive import check_archive
from db.uploads.limits import BY_COMMAND, LINES_A_ROW, LONGEST_CELL, LONGEST_LINE, MOST_BYTES, MOST_ROWS
from db.uploads.refusal import TOO_LARGE, UploadRefusedError

WORKBOOK: Final = b"PK\x03\x04"
LONG_LINE: Final = re.compile(rb"[^\r\n]{%d}" % LONGEST_LINE)


def open_upload(name: str, content: bytes, written: Written) -> list[Source | RowError]:
    """Return what a file holds: each sheet of a workbook, or the one table of a text; nothing of a README."""
    if len(content) > MOST_BYTES:
        return [TOO_LARGE.of_file(name)]
    try:
        if content.startswith(WORKBOOK):
            return _workbook(name, content, written)
        _check_text(content, written)
        csv.field_size_limit(LONGEST_CELL)
        return [] if is_readme(_stem(name)) else [open_csv(_stem(name), lambda: io.BytesIO(content), written)]
    except UploadRefusedError as refused:
        return [refused.of_file(name)]


def _workbook(name: str, content: bytes, written: Written) -> list[Source | RowError]:
    formulas = check_archive(content)
    # Heavy, and not needed for a text, or for what was refused by now.
    from db.imports.workbook import open_workbook  # noqa: PLC0415

    found = open_workbook(name, lambda: io.BytesIO(content), written, formulas=formulas)
    return [found] if isinstance(found, RowError) else [s for s in found if not is_readme(s.name)]


def _check_text(content: bytes, written: Written) -> None:
    if content.startswith(tuple(OTHER_FORMATS)):
        return  # refused by name
    if (
        written.codec != "utf-16"
        and b"\0" in content[:-1]
        and not content.startswith((b"\xff\xfe", b"\xfe\xff"))
    ):
        raise UploadRefusedError(
            "has NUL characters in it; no table has", "say its encoding, or save it as CSV anew"
        )
    lines = max(content.count(b"\n"), content.count(b"\r"))
    if lines > LINES_A_ROW * MOST_ROWS:
        raise UploadRefusedError(f"has {lines} lines; at most {MOST_ROWS} rows are read", BY_COMMAND)
    if LONG_LINE.search(content):
        raise UploadRefusedError(f"has a line of more than {LONGEST_LINE} characters", "save it as CSV anew")


def _stem(name: str) -> str:
    return name.rpartition(".")[0] or name
