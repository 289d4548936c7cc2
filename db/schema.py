"""The schema's version: brought up to date, or refused when this program does not know it."""

import random
import time
from pathlib import Path
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.exc import OperationalError

import migrations
from db.base import Base
from db.errors import AwayError, SchemaError
from db.records.log import AnsweredKey
from db.session import open_engine

GATE_SECONDS: Final = 20
# Half of PostgreSQL's deadlock_timeout: the migration steps back before a deadlock is looked for.
LOCK_MILLISECONDS: Final = 500
TRY_SECONDS: Final = 120
IN_USE: Final = ("55P03", "40P01")  # SQLSTATE lock_not_available, deadlock_detected
LOCK: Final = 7_465_237_364  # an advisory lock of our own, so that two programs do not migrate at once


def migrate(url: str, revision: str = "head") -> None:
    """
    Bring the database to this program's schema, in one transaction; a newer one is refused.

    A table that people are writing to is waited for only shortly; then the migration steps back whole and tries again,
    because a longer wait ends in a deadlock, whose victim may be somebody's entry.
    """
    engine = open_engine(url)
    until = time.monotonic() + TRY_SECONDS
    try:
        while not _migrated(engine, revision):
            if time.monotonic() > until:
                raise AwayError(
                    f"{engine.url!r} was busy for {TRY_SECONDS} s and nothing was changed; migrate at a quieter time"
                )
            time.sleep(random.uniform(0.05, 0.5))  # noqa: S311 - so that it does not keep step with a writer
    finally:
        engine.dispose()


def _migrated(engine: Engine, revision: str) -> bool:
    """Migrate; False where a table was in use."""
    try:
        with engine.begin() as connection:
            if connection.dialect.name == "postgresql":
                _hold_up_writers(connection)
            config = configuration()
            found = MigrationContext.configure(connection).get_current_revision()
            if found is not None and found not in _known(config):
                raise _newer(engine, found, known_head())
            if found is None:
                _refuse_foreign(connection)
            config.attributes["connection"] = connection
            command.upgrade(config, revision)
    except OperationalError as error:
        if getattr(error.orig, "sqlstate", None) in IN_USE:
            return False
        raise
    return True


def _refuse_foreign(connection: Connection) -> None:
    """A file of something else is left alone; on a server tables of other names may stand beside the ledger's."""
    there = set(inspect(connection).get_table_names()) - {"alembic_version"}
    taken = there if connection.dialect.name == "sqlite" else there & set(Base.metadata.tables)
    if taken:
        raise SchemaError(
            f"{connection.engine.url!r} is no ledger and holds tables already ({', '.join(sorted(taken)[:5])}); "
            "name a new file or database for the ledger"
        )


def _hold_up_writers(connection: Connection) -> None:
    """Be the only one to migrate, and let the entries that are under way end and new ones wait."""
    connection.execute(text(f"SET LOCAL lock_timeout = '{GATE_SECONDS}s'"))
    connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
    # Each entry takes its key before it touches another table, so nobody waits here who holds one.
    if inspect(connection).has_table(AnsweredKey.__tablename__):
        connection.execute(text(f"LOCK TABLE {AnsweredKey.__tablename__} IN ACCESS EXCLUSIVE MODE"))
    connection.execute(text(f"SET LOCAL lock_timeout = '{LOCK_MILLISECONDS}ms'"))


def check(engine: Engine) -> None:
    """Refuse a database whose schema is not exactly this program's."""
    file = engine.url.database if engine.dialect.name == "sqlite" else None
    if (
        file and Path(file).parent.is_dir() and not Path(file).exists()
    ):  # connecting would leave an empty file
        raise SchemaError(
            f"{file} is not there; make a ledger with `pinledger migrate`, or name another file"
        )
    with engine.connect() as connection:
        found = MigrationContext.configure(connection).get_current_revision()
    wanted = known_head()
    if found == wanted:
        return
    if found is None:
        raise SchemaError(f"{engine.url!r} has no ledger in it; make one with `pinledger migrate`")
    if found in _known(configuration()):
        raise SchemaError(
            f"{engine.url!r} has schema {found}, this program wants {wanted}; run `pinledger migrate`"
        )
    raise _newer(engine, found, wanted)


def known_head() -> str:
    """The schema that this program makes and wants."""
    return str(ScriptDirectory.from_config(configuration()).get_current_head())


def _known(config: Config) -> set[str]:
    return {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}


def _newer(engine: Engine, found: str, wanted: str) -> SchemaError:
    return SchemaError(
        f"{engine.url!r} has schema {found}, which this program (schema {wanted}) does not know; "
        "use the newer program that made it"
    )


def configuration() -> Config:
    """Return alembic's configuration: the scripts are found in the installed package, no alembic.ini is needed."""
    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent).replace("%", "%%"))
    return config
