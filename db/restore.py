"""
A ledger from a backup, proven before it stands: digest, rows and head as the manifest says, the log against the tables.

A backup of an older schema is brought to this one on the way. Sessions, links and tokens end with it,
because some of them may have been ended since the backup was made.
"""

import contextlib
import datetime as dt
import json
import os
import sqlite3
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

from sqlalchemy import Engine, make_url, text

from db import schema
from db.backup import LEDGER, MANIFEST, PIECE, Manifest, digest_of, examine
from db.copying import copy_file, copy_rows, row_counts
from db.errors import LedgerError
from db.people import end_all_ways_in
from db.room import beside, written_to
from db.session import Session, open_engine
from db.verify import Verified, verify

MOST_MANIFEST: Final = 1 << 20
# What reading a damaged archive ends in, wherever the damage lies.
DAMAGED: Final = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    RuntimeError,
    EOFError,
    KeyError,
    ValueError,
)

TOO_DAMAGED: Final = ("SQLITE_NOTADB", "SQLITE_CORRUPT")  # to be opened


@dataclass(frozen=True)
class Restored:
    """What stands in the ledger now; `aside` is where the one before it was put, "" where there was none."""

    made_at: str
    seq: int
    facts: int
    head: str
    rows: int
    aside: str


def restore(file: Path, url: str, *, now: dt.datetime, replace: bool = False) -> Restored:
    """Bring a backup to a database that holds no ledger; over a SQLite file that does only where told to."""
    address = make_url(url)
    target = Path(address.database or "") if address.get_backend_name() == "sqlite" else None
    if target is not None:
        _refuse_taken(target, replace=replace)
    place = target or Path(tempfile.gettempdir())
    with written_to(place, "the restored ledger"):
        with beside(target.parent if target else place) as folder:
            manifest = _unpack(file, folder)
            held = open_engine(f"sqlite:///{folder / LEDGER}")
            try:
                found = _proven(held, manifest, now)
                with held.connect() as connection:
                    wanted = row_counts(connection)
                if target is None:
                    _into_server(held, url, found)
            finally:
                held.dispose()
            aside = _into_file(folder / LEDGER, target, now) if target else ""
        _check_arrived(url, found, wanted)
    return Restored(manifest.made_at, found.seq, found.facts, found.head, sum(wanted.values()), aside)


def read_manifest(file: Path) -> Manifest:
    """What a backup says of itself."""
    try:
        with zipfile.ZipFile(file) as packed:
            return Manifest(**json.loads(packed.open(MANIFEST).read(MOST_MANIFEST)))
    except OSError as error:
        raise LedgerError(f"{file} cannot be read ({error.strerror}); name a backup that can") from error
    except (*DAMAGED, TypeError) as error:
        raise LedgerError(
            f"{file} is no backup of a ledger, or a damaged one ({error}); name another"
        ) from None


def _refuse_taken(target: Path, *, replace: bool) -> None:
    if not target.parent.is_dir():
        raise LedgerError(f"the folder {target.parent} is not there; make it, or name another")
    if target.exists() and target.stat().st_size and not replace:
        raise LedgerError(
            f"{target} is there already; name a new file, or say --replace (the ledger there is then kept beside it)"
        )
    left = [file for file in (Path(f"{target}-journal"), Path(f"{target}-wal")) if file.exists()]
    if left and not target.exists():
        # SQLite would take it for the new ledger's own.
        raise LedgerError(f"{left[0]} is left of a ledger that is gone; take it away, or name a new file")


def _unpack(file: Path, folder: Path) -> Manifest:
    manifest = read_manifest(file)
    try:
        with (
            zipfile.ZipFile(file) as packed,
            packed.open(LEDGER) as held,
            _for_its_owner(folder / LEDGER) as kept,
        ):
            while piece := held.read(PIECE):
                kept.write(piece)
    except DAMAGED as error:
        raise LedgerError(f"{file} is a damaged backup ({error}); name another") from None
    found = digest_of(folder / LEDGER)
    if found != manifest.sha256:
        raise LedgerError(
            f"the ledger in {file} has SHA-256 {found}, its manifest says {manifest.sha256}; it was changed or "
            "damaged, name another backup"
        )
    return manifest


def _for_its_owner(file: Path) -> BinaryIO:
    return os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb")


def _proven(held: Engine, manifest: Manifest, now: dt.datetime) -> Verified:
    with held.connect() as connection:
        for table, wanted in manifest.rows.items():
            count = f"SELECT count(*) FROM {connection.dialect.identifier_preparer.quote(table)}"  # noqa: S608 - quoted
            found = connection.execute(text(count)).scalar_one()
            if found != wanted:
                raise LedgerError(
                    f"{table} in the backup has {found} rows, its manifest says {wanted}; name another"
                )
    schema.migrate(held.url.render_as_string(hide_password=False))
    found = examine(held, Verified(manifest.facts, manifest.head, manifest.seq))
    with Session(held) as session, session.begin():
        end_all_ways_in(session, now=now)
    return found


def _into_file(proven: Path, target: Path, now: dt.datetime) -> str:
    """Over the pages of a file that is there, so that a service with it open sees the one or the other whole."""
    if not target.exists() or not target.stat().st_size:
        proven.replace(target)
        return ""
    aside = _kept_beside(target, now)
    if not target.exists():
        with _undone_by(lambda: aside.replace(target)):
            proven.replace(target)
        return str(aside)
    # A copy that fails leaves what it goes over as it was.
    with _undone_by(aside.unlink), _sqlite(proven) as new, _sqlite(target) as over:
        copy_file(new, over)
    return str(aside)


def _kept_beside(target: Path, now: dt.datetime) -> Path:
    """Keep the ledger that is there under another name: a copy of it, itself where it is too damaged to be opened."""
    aside = target.with_name(f"{target.name}.before-{now:%Y%m%dT%H%M%SZ}")
    if aside.exists():
        raise LedgerError(f"{aside} is there already; try again in a second")
    with beside(target.parent) as folder:
        try:
            with _sqlite(target) as old, _sqlite(folder / LEDGER) as kept:
                copy_file(old, kept)
        except sqlite3.DatabaseError as error:
            if getattr(error, "sqlite_errorname", "") not in TOO_DAMAGED:
                raise
            target.replace(aside)
        else:
            (folder / LEDGER).replace(aside)
    return aside


@contextlib.contextmanager
def _undone_by(undo: Callable[[], object]) -> Iterator[None]:
    try:
        yield
    except BaseException:
        undo()
        raise


@contextlib.contextmanager
def _sqlite(file: Path) -> Iterator[Engine]:
    engine = open_engine(f"sqlite:///{file}")
    try:
        yield engine
    finally:
        engine.dispose()


def _into_server(held: Engine, url: str, wanted: Verified) -> None:
    schema.migrate(url)
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            empty = row_counts(connection)
        if sum(empty.values()) > 1:  # the one row is the head of an empty chain
            raise LedgerError(
                f"{engine.url!r} holds a ledger already; make a new database, restore there, and point the "
                "service to it"
            )
        with Session(engine) as session, session.begin():
            copy_rows(held, session)
            verify(session, wanted)
    finally:
        engine.dispose()


def _check_arrived(url: str, wanted: Verified, rows: dict[str, int]) -> None:
    engine = open_engine(url)
    try:
        schema.check(engine)
        with Session(engine) as session:
            found = verify(session, wanted, rebuild=True)
            counted = row_counts(session.connection())
    finally:
        engine.dispose()
    if found != wanted or counted != rows:
        raise LedgerError(
            f"{engine.url!r} does not hold what the backup does; do not use it, restore once more"
        )
