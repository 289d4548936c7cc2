"""What a database says when it cannot work just now, or no more, told apart from faults of the program."""

import sqlite3
from typing import Final

from sqlalchemy import Connection, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnectionLeftError

from db.errors import AwayError, DamagedError, FullError, LedgerError

FULL: Final = (
    "the ledger has no room left where it is kept; nothing of this was kept, free some room and send it again"
)
AWAY: Final = (
    "the ledger's database cannot be reached or is busy; nothing of this was acknowledged, "
    "send it again in a few seconds"
)
DAMAGED: Final = (
    "the ledger's database is damaged, or what is named is no database ({what}); keep it beside as it is, and bring "
    "the latest backup to a new one with `pinledger restore`, or name the right one"
)
# Names of SQLite's result codes and, for PostgreSQL, SQLSTATE: a code, or the two characters of its class.
SQLITE_FULL: Final = ("SQLITE_FULL",)
SQLITE_AWAY: Final = ("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_IOERR", "SQLITE_CANTOPEN", "SQLITE_READONLY")
SQLITE_DAMAGED: Final = ("SQLITE_CORRUPT", "SQLITE_NOTADB")
POSTGRESQL_FULL: Final = ("53100",)
# Connection lost, resources, being stopped, deadlock, a standby that takes no writes, I/O.
POSTGRESQL_AWAY: Final = ("08", "53", "57P", "40P01", "25006", "58")
POSTGRESQL_DAMAGED: Final = ("XX001", "XX002")  # data or an index found corrupted


def outage_of(error: BaseException | None) -> LedgerError | None:
    """The refusal that an error of the database stands for, where it says no room, not there, busy or damaged."""
    while error is not None:
        told = _outage(error)
        if told is not None:
            return told
        # A full SQLite ends the transaction by itself; the error then is of the savepoint that is gone.
        error = error.__context__ if isinstance(error, DBAPIError) else None
    return None


def _outage(error: BaseException) -> LedgerError | None:
    if isinstance(error, NoConnectionLeftError):
        return AwayError(AWAY)
    # Copying a whole ledger asks the driver itself, whose errors come as they are.
    own = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(own, sqlite3.Error):
        code = getattr(own, "sqlite_errorname", "")
        return _damaged(own, code, SQLITE_DAMAGED) or _told(code, SQLITE_FULL, SQLITE_AWAY)
    if not isinstance(error, DBAPIError):
        return None
    code = getattr(error.orig, "sqlstate", None) or ""
    told = _damaged(own, code, POSTGRESQL_DAMAGED) or _told(code, POSTGRESQL_FULL, POSTGRESQL_AWAY)
    if told is None and error.connection_invalidated:
        return AwayError(AWAY)
    # A connection that was never made has no SQLSTATE.
    unmade = type(error.orig).__name__ in ("OperationalError", "ConnectionTimeout")
    return AwayError(AWAY) if told is None and unmade else told


def check_pages(connection: Connection) -> None:
    """Refuse a SQLite file whose pages or indexes are damaged: what no table shows, as a query may not look there."""
    if connection.dialect.name == "sqlite":
        told = connection.execute(text("PRAGMA integrity_check(1)")).scalar_one()
        if told != "ok":
            raise DamagedError(DAMAGED.format(what=" ".join(told.split())))


def _damaged(own: BaseException | None, code: str, damaged: tuple[str, ...]) -> LedgerError | None:
    return DamagedError(DAMAGED.format(what=own)) if code.startswith(damaged) else None


def _told(code: str, full: tuple[str, ...], away: tuple[str, ...]) -> LedgerError | None:
    if code.startswith(full):
        return FullError(FULL)
    return AwayError(AWAY) if code.startswith(away) else None
