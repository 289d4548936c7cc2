"""The one way to a database: engines set up so that transactions mean what they say on both databases."""

import contextlib
import os
import sqlite3
from pathlib import Path
from typing import Any, Final

import numpy as np
from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.orm import Session

from db.errors import LedgerError

__all__ = ["Session", "open_engine", "reading"]

BUSY_SECONDS: Final = 30
HURRIED_SECONDS: Final = 0.25
# Without these a server that vanished is waited for as long as the system does, many minutes.
WAITS: Final = {
    "connect_timeout": 5,
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 20_000,
}
# Versions before this, the two exceptions apart, can lose committed data in WAL mode with two connections.
WAL_SAFE_FROM: Final = (3, 51, 3)
WAL_SAFE_TOO: Final = ((3, 44, 6), (3, 50, 7))

# Otherwise SQLite takes NumPy's whole numbers as bytes: a query for one finds nothing, without an error.
sqlite3.register_adapter(np.int64, int)


def open_engine(url: str) -> Engine:
    """Engine on SQLite (`sqlite:///file`) or PostgreSQL (`postgresql://...`, by psycopg 3)."""
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise LedgerError(
            f"{url!r} is not a database address; wanted sqlite:///FILE or postgresql://HOST/NAME"
        ) from None
    if parsed.get_backend_name() == "sqlite":
        _wants_a_folder(parsed.database)
        engine = create_engine(parsed, connect_args={"timeout": BUSY_SECONDS})
        event.listen(engine, "do_connect", _for_its_owner_alone)
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
        event.listen(engine, "checkin", _end_sqlite)
        return engine
    if parsed.get_backend_name() == "postgresql":
        waits = {name: value for name, value in WAITS.items() if name not in parsed.query}
        driven = parsed.set(drivername="postgresql+psycopg")
        return create_engine(driven, pool_pre_ping=True, connect_args=waits)
    raise LedgerError(f"{url!r} names a database that is not known; wanted sqlite or postgresql")


def _wants_a_folder(file: str | None) -> None:
    """SQLite makes a file that is not there, but no folder, and calls that unable to open."""
    folder = Path(file or "").parent
    if file and not file.startswith("file:") and not folder.is_dir():
        raise LedgerError(
            f"there is no folder {folder} for the ledger {file}; create it, or name another file"
        )


def _for_its_owner_alone(_dialect: Any, _record: Any, given: list[Any], _named: dict[str, Any]) -> None:  # noqa: ANN401 - the library's own types
    """Make a file that is not there yet, readable by its owner alone; SQLite gives its journal the same rights."""
    file = str(given[0])
    if file in ("", ":memory:") or file.startswith("file:"):
        return
    # One that is there keeps the rights that somebody gave it; a folder that refuses is for SQLite to name.
    with contextlib.suppress(OSError):
        os.close(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))


def reading(engine: Engine) -> Engine:
    """Return the same engine for reading only: a transaction sees one state throughout and holds up no writer."""
    if engine.dialect.name == "postgresql":
        return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    return engine.execution_options(reading=True)


def hurried(engine: Engine) -> Engine:
    """Return the same engine for a write that can be spared: where another writer is at work it soon gives up."""
    return engine.execution_options(hurried=True)


def journal_mode(version: tuple[int, ...]) -> tuple[str, str]:
    """Journal mode and synchronous setting under which this version of SQLite keeps what it acknowledged."""
    if version >= WAL_SAFE_FROM or version in WAL_SAFE_TOO:
        return "WAL", "FULL"
    return "DELETE", "EXTRA"


def _set_up_sqlite(connection: Any, _record: Any) -> None:  # noqa: ANN401 - the driver's own types
    mode, synchronous = journal_mode(sqlite3.sqlite_version_info)
    for pragma in (
        "foreign_keys=ON",
        # REPLACE would walk around the triggers that refuse a DELETE.
        "recursive_triggers=ON",
        f"journal_mode={mode}",
        f"synchronous={synchronous}",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _end_sqlite(connection: Any, _record: Any) -> None:  # noqa: ANN401 - the same
    # A commit that met a reader leaves its transaction open, and SQLAlchemy takes it for ended: until this connection
    # was used again, nobody else could write.
    if connection is not None and connection.in_transaction:
        connection.rollback()


def _begin_sqlite(connection: Connection) -> None:
    # A writer asks for the lock at once; a reader that turned writer half-way would fail instead of waiting.
    options = connection.get_execution_options()
    wait = HURRIED_SECONDS if options.get("hurried", False) else BUSY_SECONDS
    connection.exec_driver_sql(f"PRAGMA busy_timeout={int(1000 * wait)}")
    connection.exec_driver_sql("BEGIN" if options.get("reading", False) else "BEGIN IMMEDIATE")
