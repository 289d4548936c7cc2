"""
The whole ledger as an import folder or a workbook: what is current at a point, in the columns of the files.

Importing it into an empty ledger gives equal current facts. Editions go along to be read, and are not imported: they
speak of the log that they were frozen in. Texts that a spreadsheet would run are quoted (an
apostrophe before them, which the import takes off); numbers stay numbers, lengths stay as typed.
"""

import contextlib
import csv
import json
import shutil
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any, Final

import pandas as pd
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.writer.excel import ExcelWriter
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from db.anchor_forms import CHANGES, FACTS, HEAD
from db.editions import Edition, editions, shown_in
from db.errors import LedgerError
from db.exported import exported
from db.files import File
from db.files.column import DAYS, LENGTH, MONTH, NUMBERS, WORD
from db.imports.quoting import quoted, to_sheet
from db.imports.source import EDITIONS, README, SUMS
from db.imports.sums import sha256_of, write_sums
from db.lookup import Known
from db.records.log import Change
from db.room import beside, written_to
from db.studies import hash_at

LAST_ROW: Final = 1_048_576  # of a sheet, as the format has it (ECMA-376)


def export(session: Session, path: Path, *, known: Known, briefs: bool = True) -> dict[str, int]:
    """
    Write every file into a new folder, or a new workbook where the path ends in .xlsx; return rows by file.

    `briefs`: with the retrofit briefs that were frozen, which not everybody may see.
    """
    frozen = editions(session, known) if briefs else ()
    with written_to(path, "the export"):
        if path.suffix.lower() != ".xlsx":
            return _new_folder(session, path, known, frozen)
        if path.exists():
            raise LedgerError(f"{path} is there already; name a new workbook")
        with beside(path.parent) as hidden:
            rows = _workbook(session, hidden / path.name, known, frozen)
            (hidden / path.name).replace(path)
        return rows


def _new_folder(session: Session, folder: Path, known: Known, frozen: Sequence[Edition]) -> dict[str, int]:
    """Write into the folder, which may be there and empty; what it already held stays, whatever fails."""
    if folder.exists() and any(folder.iterdir()):
        raise LedgerError(
            f"{folder} is not empty; name a new folder, so that no old file is taken for a part of it"
        )
    made = not folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    try:
        with beside(folder) as hidden:
            rows = _folder(session, hidden, known, frozen)
            # The list first: it names what must follow.
            for file in sorted(hidden.iterdir(), key=lambda file: (file.name != SUMS, file.name)):
                file.replace(folder / file.name)
    except BaseException:
        if made:
            shutil.rmtree(folder)
        raise
    return rows


def _folder(session: Session, folder: Path, known: Known, frozen: Sequence[Edition]) -> dict[str, int]:
    rows = {}
    for file, frame in exported(session, known):
        with (folder / f"{file.name}.csv").open("w", encoding="utf-8", newline="") as text:
            writer = csv.writer(text, lineterminator="\n")
            writer.writerow(frame.columns)
            writer.writerows(zip(*(_cells(file, frame[name]) for name in frame), strict=True))
        rows[file.name] = len(frame)
    if frozen:
        told = [{**asdict(each), "shown": shown_in(session, each.number)} for each in frozen]
        text_of = json.dumps(told, ensure_ascii=False, indent=1, default=str)
        (folder / f"{EDITIONS}.json").write_text(text_of + "\n", encoding="utf-8")
        rows[EDITIONS] = len(frozen)
    names = {file.name: rows[file.stem] for file in sorted(folder.iterdir())}
    digests = [f"{name}: {count} rows, SHA-256 {sha256_of(folder / name)}" for name, count in names.items()]
    readme = [
        *_told(session, known),
        *digests,
        f"{SUMS} lists all of these for `sha256sum -c`, and for import.",
    ]
    (folder / f"{README}.txt").write_text("\n".join(readme) + "\n", encoding="utf-8")
    write_sums(folder, names)
    return rows


def _told(session: Session, known: Known) -> tuple[str, ...]:
    """What the export is of, with the head of the log; `pinledger verify --anchor README.txt` finds it again."""
    return (
        "Records of a Pinledger ledger, one file or sheet a kind of record; `pinledger import` reads them.",
        f"As known by the end of: {known.day}",
        f"{CHANGES}{known.seq}",
        f"{FACTS}{session.scalar(select(func.sum(Change.facts)).where(Change.seq <= known.seq)) or 0}",
        f"{HEAD}{hash_at(session, known.seq)}",
    )


def _workbook(session: Session, path: Path, known: Known, frozen: Sequence[Edition]) -> dict[str, int]:
    rows = {}
    with _new_workbook(path) as workbook:
        for file, frame in exported(session, known):
            if len(frame) >= LAST_ROW:
                raise LedgerError(
                    f"{file.name} has {len(frame)} rows, a sheet holds {LAST_ROW - 1}; export a folder of CSV"
                )
            sheet = workbook.create_sheet(file.name)
            sheet.append(list(frame.columns))
            for row in zip(*(_cells(file, frame[name]) for name in frame), strict=True):
                sheet.append([_sheet_cell(sheet, value) for value in row])
            rows[file.name] = len(frame)
        if frozen:
            # What they showed is longer than a cell holds; an export as a folder has it.
            sheet = workbook.create_sheet(EDITIONS)
            sheet.append([field.name for field in fields(Edition)])
            for each in frozen:
                sheet.append(
                    [
                        _sheet_cell(sheet, quoted(value) if isinstance(value, str) else value)
                        for value in asdict(each).values()
                    ]
                )
            rows[EDITIONS] = len(frozen)
        last = workbook.create_sheet(README)
        counted = [f"{name}: {count} rows" for name, count in rows.items()]
        for line in (*_told(session, known), *counted):
            last.append([line])
    return rows


@contextlib.contextmanager
def _new_workbook(path: Path) -> Iterator[Workbook]:
    """
    Give a workbook that is then written to the path.

    Its sheets are ended here, whatever comes: the library leaves that to the collector, which tells of a full disk in
    words of its own.
    """
    workbook = Workbook(write_only=True)
    try:
        yield workbook
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
            ExcelWriter(workbook, packed).save()
    finally:
        for sheet in workbook.worksheets:
            with contextlib.suppress(Exception):  # the first error is on its way already
                sheet.close()


def _sheet_cell(sheet: Any, value: Any) -> Any:  # noqa: ANN401 - a sheet and cells, which openpyxl does not type
    if isinstance(value, str):
        return to_sheet(value)
    if isinstance(value, float) and float(f"{value:.16g}") != value:
        # The library writes 16 digits; a number that needs 17 is handed over as its own text.
        cell = WriteOnlyCell(sheet, repr(value))
        cell.data_type = "n"
        return cell
    return value


def _cells(file: File, column: "pd.Series[Any]") -> list[Any]:
    """Values of one column as they stand in cells: whole numbers without a point, nothing where not known."""
    declared = file.column(str(column.name))
    kind = declared.kind if declared is not None else ""
    if kind == MONTH:
        return [None if pd.isna(day) else f"{day:%Y-%m}" for day in column]
    if kind in DAYS:
        return [None if pd.isna(day) else day.date() for day in column]
    if kind in NUMBERS:
        return [None if pd.isna(x) else int(x) if float(x).is_integer() else float(x) for x in column]
    if kind in (LENGTH, WORD):
        return [value or None for value in column]
    return [quoted(value) or None for value in column]
