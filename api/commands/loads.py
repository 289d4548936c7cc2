"""Commands that bring files in, list loads, and withdraw one whole."""

import argparse
import datetime as dt
import hashlib
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from sqlalchemy import Engine
from tqdm import tqdm

from api.output import write
from db import schema
from db.chain import Act
from db.entry.loads import remember_load, withdraw_load
from db.imports.loading import FileLoaded, FileTried, Offer, load, opened, try_load
from db.imports.refused import ImportRefusedError
from db.imports.written import written_from
from db.known_offer import known_offer
from db.loaded import loads_before
from db.people import check_writer
from db.session import Session, open_engine, reading

HOW: Final = ("encoding", "separator", "decimal", "days")
EVERY: Final = 1_000_000
FILES_TOLD: Final = 3


def bring_in(asked: argparse.Namespace) -> int:
    """Load a folder or workbook, whole or not at all; with --dry-run only say what would become of it."""
    engine = open_engine(asked.db)
    schema.check(engine)
    path = Path(asked.folder)
    act = Act(person=asked.person, source=f"command import {path.name}", act="import")
    if asked.dry_run:
        return _try(engine, asked, path, act)
    with Session(engine) as session, tqdm(unit=" rows", disable=None, file=sys.stderr) as bar:

        def progress(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        offer = _offer(session, asked, path)
        check_writer(session, asked.person)
        loaded = load(session, offer, act, approved=True, today=_today(), progress=progress)
        number = remember_load(session, act, loaded, files=list(_files(path)), source=asked.source)
        session.commit()
    rows = loaded.files if asked.format == "csv" else [_counts(each) for each in loaded.files]
    write(loaded, asked.format, rows=rows)
    sys.stderr.write(f"kept as load {number}\n" if number else "kept; all of it was on record already\n")
    return 0


def loads(asked: argparse.Namespace) -> int:
    """List the loads that were made, the latest first."""
    engine = open_engine(asked.db)
    schema.check(engine)
    with Session(reading(engine)) as session:
        made = loads_before(session, None, most=EVERY)
    rows = [
        {
            "load": each.number,
            "loaded_at": each.loaded_at[:16],
            "person": each.person,
            "files": _named([file.name for file in each.files], all_of_them=asked.format != "table"),
            "rows": each.rows,
            "withdrawn_by": each.withdrawn_by,
            "reason": each.reason,
        }
        for each in made
    ]
    write(made, asked.format, rows=rows)
    if not made:
        sys.stderr.write("no load was made yet; `pinledger import FOLDER` makes one\n")
    return 0


def _named(names: Sequence[str], *, all_of_them: bool) -> str:
    """Files in one cell: all where a program reads it, the first few where a line is to be read."""
    if all_of_them or len(names) <= FILES_TOLD:
        return "; ".join(names)
    return f"{'; '.join(names[:FILES_TOLD])} and {len(names) - FILES_TOLD} more"


def withdraw(asked: argparse.Namespace) -> int:
    """Withdraw a load whole, or say which records rest on it."""
    engine = open_engine(asked.db)
    schema.check(engine)
    act = Act(asked.person, f"command load {asked.number}", "withdraw a load", asked.reason)
    with Session(engine) as session:
        check_writer(session, asked.person)
        records = withdraw_load(session, act, asked.number)
        session.commit()
    write([{"load": asked.number, "withdrawn": records, "reason": asked.reason}], asked.format)
    return 0


def _try(engine: Engine, asked: argparse.Namespace, path: Path, act: Act) -> int:
    """Say what a load would do; refused where something is wrong, with the counts beside the errors."""
    with Session(engine) as session:
        tried = try_load(session, _offer(session, asked, path), act, approved=True, today=_today())
        session.rollback()
    if tried.total:
        _tell(tried.files)
        raise ImportRefusedError(tried.errors, tried.total, tried.unchecked)
    rows = tried.files if asked.format == "csv" else [_tried(file) for file in tried.files]
    write(tried, asked.format, rows=rows)
    sys.stderr.write("checked, nothing kept\n")
    return 0


def _today() -> dt.date:
    return dt.datetime.now(dt.UTC).date()


def _offer(session: Session, asked: argparse.Namespace, path: Path) -> Offer:
    """What the path offers: our own files written as said, or those of a source whose columns were matched before."""
    words = {name: getattr(asked, name) or "" for name in HOW}
    return (
        known_offer(session, path, asked.source, words) if asked.source else opened(path, written_from(words))
    )


def _files(path: Path) -> Iterator[dict[str, str]]:
    """Each file with its SHA-256, read in pieces."""
    for file in sorted(path.iterdir()) if path.is_dir() else [path]:
        if file.is_file() and not file.name.startswith("."):
            with file.open("rb") as content:
                yield {"name": file.name, "sha256": hashlib.file_digest(content, "sha256").hexdigest()}


def _tell(files: Sequence[FileTried]) -> None:
    """Say the counts beside the errors, which go where results go."""
    for file in files:
        counts = f"{file.ready} ready, {file.wrong} need fixing, {file.same} on record already"
        sys.stderr.write(f"{file.file}: {counts}, {file.waiting} not judged yet\n")


def _tried(file: FileTried) -> dict[str, object]:
    counts = {
        name: getattr(file, name) for name in ("file", "rows", "ready", "same", "held", "wrong", "waiting")
    }
    return {**counts, "flags": len(file.flags), "warnings": _notes(file)}


def _counts(loaded: FileLoaded) -> dict[str, object]:
    counts = {name: getattr(loaded, name) for name in ("file", "added", "same", "completed", "held")}
    return {**counts, "flags": len(loaded.flags), "warnings": _notes(loaded)}


def _notes(loaded: FileLoaded | FileTried) -> list[str]:
    """What is odd: each sentence once, with how often and the first row."""
    rows: dict[str, list[int]] = {}
    for flag in loaded.flags:
        rows.setdefault(re.sub(r"\d[\d.,:-]*", "..", flag.text), []).append(flag.row)
    told = {flag.row: flag.text for flag in reversed(loaded.flags)}
    return [
        told[at[0]] if len(at) == 1 and not at[0] else f"{len(at)} x, first row {at[0]}: {told[at[0]]}"
        for at in rows.values()
    ]
