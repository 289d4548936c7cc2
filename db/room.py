"""What is written to a file is there whole or not at all; where it cannot be written, that is said with the place."""

import contextlib
import errno
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from sqlalchemy.exc import DBAPIError

from db.errors import FullError, LedgerError
from db.outage import outage_of

FULL: Final = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
HIDDEN: Final = ".pinledger-"


@contextlib.contextmanager
def written_to(place: Path, what: str) -> Iterator[None]:
    """Say in words that `what` found no room at `place`, or could not be written there."""
    try:
        yield
    except (OSError, sqlite3.Error, DBAPIError) as error:
        if isinstance(error, OSError) and error.errno is not None:
            full, why = error.errno in FULL, str(error.strerror)
        else:
            outage = outage_of(error)
            if outage is None:
                raise
            full, why = isinstance(outage, FullError), str(getattr(error, "orig", error))
        if full:
            raise FullError(
                f"{place}: no room left for {what}; nothing of it was kept, free some room there or name another place"
            ) from error
        raise LedgerError(
            f"{place}: {what} could not be written ({why}); nothing of it was kept, mend that or name another place"
        ) from error


@contextlib.contextmanager
def beside(folder: Path) -> Iterator[Path]:
    """Give a hidden folder in this one, on its disk, from which what is whole is renamed; the rest goes with it."""
    with tempfile.TemporaryDirectory(dir=folder, prefix=HIDDEN) as made:
        yield Path(made)
