"""Run by alembic: on the connection of `db.schema.migrate`, or from alembic's command line on PINLEDGER_DB."""

import os

from alembic import context
from sqlalchemy import Connection

import db.records
from db.base import Base
from db.session import open_engine

__all__ = ["db"]


def run(connection: Connection) -> None:
    """Run within the caller's transaction, on SQLite too, so that a failed migration leaves the old version."""
    context.configure(connection=connection, target_metadata=Base.metadata)
    context.run_migrations()


given: Connection | None = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    with open_engine(os.environ["PINLEDGER_DB"]).begin() as own:
        run(own)
