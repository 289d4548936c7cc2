"""The schema's version: brought up to date, or refused when this program does not know it."""

from pathlib import Path
from typing import Final

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, text

import migrations
from db.errors import SchemaError
from db.session import open_engine

LOCK: Final = 7_465_237_364  # an advisory lock of our own, so that two programs do not migrate at once


def migrate(url: str, revision: str = "head") -> None:
    """Bring the database to this program's schema, in one transaction; a newer one is refused."""
    engine = open_engine(url)
    try:
        with engine.begin() as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
            config = configuration()
            found = MigrationContext.configure(connection).get_current_revision()
            if found is not None and found not in _known(config):
                raise _newer(engine, found, known_head())
            config.attributes["connection"] = connection
            command.upgrade(config, revision)
    finally:
        engine.dispose()


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
