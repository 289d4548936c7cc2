"""A whole ledger from one database to another, as of one moment, writers or no writers."""

import sqlite3
from typing import Final

from sqlalchemy import Connection, Engine, delete, func, insert, select
from sqlalchemy.orm import Session

import db.records
from db.base import Base, Fact
from db.session import reading

__all__ = ["copy_file", "copy_rows", "db", "row_counts"]

BATCH: Final = 5_000
NEVER_FILLED: Final = {model.__tablename__ for model in Fact.__subclasses__()} | {"change", "access_act"}


def copy_file(source: Engine, target: Engine) -> None:
    """Copy SQLite to SQLite page by page, over what the target holds; a crash leaves the target as it was."""
    given, taken = source.raw_connection(), target.raw_connection()
    try:
        _sqlite(given.driver_connection).backup(_sqlite(taken.driver_connection))
    finally:
        given.close()
        taken.close()


def copy_rows(source: Engine, target: Session) -> None:
    """Copy every row between databases of either kind; the target has this program's schema and no facts."""
    into = target.connection()
    for table in reversed(Base.metadata.sorted_tables):
        if table.name not in NEVER_FILLED:  # what a migration put there, such as the head of an empty chain
            into.execute(delete(table))
    with reading(source).connect() as given:
        for table in Base.metadata.sorted_tables:
            # In the order in which they were written, so that the rules on rows see what they saw then.
            rows = given.execute(
                select(table).order_by(*table.primary_key.columns).execution_options(yield_per=BATCH)
            )
            for batch in rows.mappings().partitions(BATCH):
                into.execute(insert(table), [dict(row) for row in batch])


def row_counts(connection: Connection) -> dict[str, int]:
    """How many rows each table holds."""
    counted = {table.name: select(func.count()).select_from(table) for table in Base.metadata.sorted_tables}
    return {name: connection.execute(count).scalar_one() for name, count in counted.items()}


def _sqlite(connection: object) -> sqlite3.Connection:
    if not isinstance(connection, sqlite3.Connection):
        raise TypeError(f"{connection!r} is no connection to SQLite")
    return connection
