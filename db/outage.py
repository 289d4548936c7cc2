"""What a database says when it cannot work just now, told apart from faults of the program."""

import sqlite3
from typing import Final

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnectionLeftError

from db.errors import AwayError, FullError, LedgerError

FULL: Final = (
    "the ledger has no room left where it is kept; nothing of this was kept, free some room and send it again"
)
AWAY: Final = (
    "the ledger's database cannot be reached or is busy; nothing of this was acknowledged, "
    "send it again in a few seconds"
)
# Names of SQLite's result codes and, for PostgreSQL, SQLSTATE: a code, or the two characters of its class.
SQLITE_FULL: Final = ("SQLITE_FULL",)
SQLITE_AWAY: Final = ("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_IOERR", "SQLITE_CANTOPEN", "SQLITE_READONLY")
POSTGRESQL_FULL: Final = ("53100",)
# Connection lost, resources, being stopped, deadlock, a standby that takes no writes, I/O.
POSTGRESQL_AWAY: Final = ("08", "53", "57P", "40P01", "25006", "58")


def outage_of(error: BaseException | None) -> LedgerError | None:
    """The refusal that an error of the database stands for, where it says no room, not there or busy."""
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
        return _told(getattr(own, "sqlite_errorname", ""), SQLITE_FULL, SQLITE_AWAY)
    if not isinstance(error, DBAPIError):
        return None
    told = _told(getattr(error.orig, "sqlstate", None) or "", POSTGRESQL_FULL, POSTGRESQL_AWAY)
    if told is None and error.connection_invalidated:
        return AwayError(AWAY)
    # A connection that was never made has no SQLSTATE.
    unmade = type(error.orig).__name__ in ("OperationalError", "ConnectionTimeout")
    return AwayError(AWAY) if told is None and unmade else told


def _told(code: str, full: tuple[str, ...], away: tuple[str, ...]) -> LedgerError | None:
    if code.startswith(full):
        return FullError(FULL)
    return AwayError(AWAY) if code.startswith(away) else None
