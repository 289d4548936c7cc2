"""
The whole ledger in one file, history and people included, whichever database it stands in.

The file is a zip of `ledger.db`, a SQLite ledger, and `manifest.json`, which says what must be found in it. It holds
digests of passwords and the seeds of authenticators: guard it as the ledger itself.
"""

import datetime as dt
import hashlib
import json
import os
import zipfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from sqlalchemy import Engine, text

from db import schema
from db.anchors import Anchor
from db.copying import copy_file, copy_rows, row_counts
from db.errors import LedgerError
from db.room import beside, written_to
from db.session import Session, open_engine, reading
from db.verify import Verified, verify

LEDGER: Final = "ledger.db"
MANIFEST: Final = "manifest.json"
PIECE: Final = 1 << 20


@dataclass(frozen=True)
class Manifest:
    """What a backup holds: the moment and schema, the chain's head, rows by table, and the ledger's own digest."""

    made_at: str
    database: str
    schema: str
    seq: int
    facts: int
    head: str
    rows: Mapping[str, int]
    sha256: str


def back_up(engine: Engine, target: Path, *, now: dt.datetime) -> tuple[Path, Manifest]:
    """Copy the ledger as of one moment, verify the copy, and write it with its manifest; returns where it stands."""
    schema.check(engine)
    file = _new_file(target, now)
    with written_to(file, "the backup"), beside(file.parent) as folder:
        copy = folder / LEDGER
        url = f"sqlite:///{copy}"
        if engine.dialect.name != "sqlite":
            schema.migrate(url)
        held = open_engine(url)
        try:
            if engine.dialect.name == "sqlite":
                copy_file(engine, held)
            else:
                with Session(held) as session, session.begin():
                    copy_rows(engine, session)
            found = examine(held)
            with held.connect() as connection:
                rows = row_counts(connection)
        finally:
            held.dispose()
        manifest = Manifest(
            made_at=now.strftime("%Y-%m-%dT%H:%M:%SZ"),
            database=engine.dialect.name,
            schema=schema.known_head(),
            seq=found.seq,
            facts=found.facts,
            head=found.head,
            rows=rows,
            sha256=digest_of(copy),
        )
        part = folder / "part.zip"
        _pack(copy, manifest, part)
        part.replace(file)
    return file, manifest


def examine(copy: Engine, *anchors: Anchor | Verified) -> Verified:
    """Check a SQLite ledger whole: its pages and indexes, its chain, and every table against the log."""
    with copy.connect() as connection:
        told = connection.execute(text("PRAGMA integrity_check(1)")).scalar_one()
    if told != "ok":
        raise LedgerError(f"the copy of the ledger is damaged ({told}); nothing was kept of it")
    with Session(reading(copy)) as session:
        return verify(session, *anchors, rebuild=True)


def digest_of(file: Path) -> str:
    """SHA-256 of a file."""
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _new_file(target: Path, now: dt.datetime) -> Path:
    """The file named, or in a folder named one called by the moment; never one that is there."""
    file = target / f"pinledger-{now:%Y%m%dT%H%M%SZ}.zip" if target.is_dir() else target
    if file.exists():
        raise LedgerError(
            f"{file} is there already; a backup is never written over, name a new file or a folder"
        )
    if not file.parent.is_dir():
        raise LedgerError(f"the folder {file.parent} is not there; make it, or name another")
    return file


def _pack(copy: Path, manifest: Manifest, part: Path) -> None:
    with (
        os.fdopen(os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "w+b") as kept,
        zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed,
    ):
        packed.write(copy, LEDGER)
        packed.writestr(MANIFEST, json.dumps(asdict(manifest), indent=2))
        packed.close()
        kept.flush()
        os.fsync(kept.fileno())
