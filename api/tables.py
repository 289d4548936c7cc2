"""The main table of a page taken away as CSV or Excel: the same objects, text that no program can run as a formula."""

import csv
import io
from collections.abc import Sequence
from typing import Annotated, Final, Literal

from fastapi import Depends, Query, Response
from openpyxl import Workbook
from openpyxl.styles import Font

from api.output import flat, plain
from db.imports.quoting import quoted

MEDIA: Final = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
HEAD_SHOWN: Final = 12  # characters of a hash that tell two ledgers apart at a glance

Form = Literal["csv", "xlsx"]


def asked_form(
    form: Annotated[Form | None, Query(alias="format", description="the main table as a file")] = None,
) -> Form | None:
    """The file format asked for, or None for the page."""
    return form


AskedForm = Annotated[Form | None, Depends(asked_form)]


def _cell(value: object) -> object:
    """Numbers stay numbers; text that would run as a formula is quoted, as the import knows it."""
    return quoted(value) if isinstance(value, str) else value


def download(rows: Sequence[object], *, name: str, form: Form, head: str) -> Response:
    """
    Result dataclasses as a file, a column a field, named as the JSON names it.

    The file's name ends in the start of the log's head; a workbook has all of it in its description.
    """
    listed = [flat(plain(row)) for row in rows]
    columns = list(dict.fromkeys(column for row in listed for column in row))
    table: list[list[object]] = [
        list(columns),
        *([_cell(row.get(column)) for column in columns] for row in listed),
    ]
    body = _csv(table) if form == "csv" else _xlsx(table, name, head)
    called = f"{name}-{head[:HEAD_SHOWN]}" if head else name
    kept = {"Content-Disposition": f'attachment; filename="{called}.{form}"'}
    return Response(body, media_type=MEDIA[form], headers=kept)


def _csv(table: Sequence[Sequence[object]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(table)
    return text.getvalue().encode()


def _xlsx(table: Sequence[Sequence[object]], name: str, head: str) -> bytes:
    book = Workbook()
    if head:
        book.properties.description = f"Head of the ledger's log: {head}"
    book.remove(book.worksheets[0])
    sheet = book.create_sheet(name[:31])
    for row in table:
        sheet.append(list(row))
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()
