"""Commands on the ledger itself: migrate, import, export, verify."""

import argparse
import datetime as dt
import re
import sys
from dataclasses import asdict
from pathlib import Path

from tqdm import tqdm

from api.output import write
from db import schema
from db.chain import Act
from db.errors import LedgerError
from db.export import export as write_folder
from db.imports import FileLoaded
from db.imports import load as load_all
from db.lookup import known_by
from db.session import Session, open_engine, reading
from db.verify import read_anchor
from db.verify import verify as verify_chain


def migrate(asked: argparse.Namespace) -> int:
    """Bring the database to this version's schema."""
    schema.migrate(asked.db)
    sys.stdout.write(f"{asked.db}: at the schema of this version\n")
    return 0


def load(asked: argparse.Namespace) -> int:
    """Load a folder or workbook, whole or not at all."""
    engine = open_engine(asked.db)
    schema.check(engine)
    act = Act(person=asked.person, source=f"import {Path(asked.folder).name}", act="import")
    with Session(engine) as session, tqdm(unit=" rows", disable=None, file=sys.stderr) as bar:

        def progress(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        loaded = load_all(
            session,
            Path(asked.folder),
            act,
            approved=True,
            today=dt.datetime.now(dt.UTC).date(),
            progress=progress,
        )
        if asked.dry_run:
            session.rollback()
        else:
            session.commit()
    write(
        loaded,
        asked.format,
        rows=loaded.files if asked.format == "csv" else [_counts(each) for each in loaded.files],
    )
    sys.stderr.write("checked, nothing kept\n" if asked.dry_run else "kept\n")
    return 0


def _counts(loaded: FileLoaded) -> dict[str, object]:
    """One line a file, and beneath it what is odd: each sentence once, with how often and the first rows."""
    rows: dict[str, list[int]] = {}
    for flag in loaded.flags:
        rows.setdefault(re.sub(r"\d[\d.,:-]*", "..", flag.text), []).append(flag.row)
    told = {flag.row: flag.text for flag in reversed(loaded.flags)}
    notes = [
        told[at[0]] if len(at) == 1 and not at[0] else f"{len(at)} x, first row {at[0]}: {told[at[0]]}"
        for at in rows.values()
    ]
    counts = {name: getattr(loaded, name) for name in ("file", "added", "same", "completed", "held")}
    return {**counts, "flags": len(loaded.flags), "warnings": notes}


def export(asked: argparse.Namespace) -> int:
    """Write the whole ledger as the import's own files."""
    engine = open_engine(asked.db)
    schema.check(engine)
    with Session(reading(engine)) as session:
        written = write_folder(session, Path(asked.folder), known=known_by(session, asked.known_on))
    write([{"file": name, "rows": rows} for name, rows in written.items()], asked.format)
    return 0


def verify(asked: argparse.Namespace) -> int:
    """Recompute the chain; a broken one is refused by its error."""
    engine = open_engine(asked.db)
    schema.check(engine)
    anchor = read_anchor(_text(asked.anchor)) if asked.anchor else None
    with Session(reading(engine)) as session:
        found = verify_chain(session, anchor=anchor, rebuild=asked.rebuild)
    write(asdict(found), asked.format)
    return 0


def _text(name: str) -> str:
    try:
        return Path(name).read_text(encoding="utf-8")
    except OSError as error:
        raise LedgerError(
            f"anchor file {name!r} cannot be read ({error.strerror}); name one that can"
        ) from error
