"""Writes that a reader can do without: where the database has no room for them, the page comes all the same."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from sqlalchemy.exc import SQLAlchemyError

from api.logs import told_error
from db.outage import outage_of

LOG: Final = logging.getLogger("pinledger")


@contextmanager
def spared(what: str) -> Iterator[None]:
    """Go on without this write where the database cannot take it just now, and log that."""
    try:
        yield
    except SQLAlchemyError as error:
        if outage_of(error) is None:
            raise
        LOG.warning(what, extra={"event": what} | told_error(error))
