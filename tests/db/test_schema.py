import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, text
from sqlalchemy.exc import OperationalError
from sqlalchemy.schema import CreateIndex

import db.records  # noqa: F401 - the models are what is compared
from db import schema
from db.base import Base
from db.errors import LedgerError, SchemaError
from db.session import Session, hurried, journal_mode, open_engine, reading


@pytest.mark.filterwarnings("ignore:.*expression-based index")  # on SQLite: the next test compares them
def test_models_and_migrations_agree(engine):
    with engine.connect() as connection:
        found = compare_metadata(MigrationContext.configure(connection), Base.metadata)
    assert found == []


def test_models_and_migrations_agree_on_every_index_of_sqlite(sqlite_url):
    """Word for word, since SQLite does not tell what an index on an expression is made of."""
    engine = open_engine(sqlite_url)
    with engine.connect() as connection:
        found = connection.execute(
            text("SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql <> ''")
        )
        made = {name: " ".join(sql.split()) for name, sql in found}
    engine.dispose()
    indexes = [index for table in Base.metadata.tables.values() for index in table.indexes]
    assert made == {index.name: str(CreateIndex(index).compile(dialect=engine.dialect)) for index in indexes}


def test_a_migrated_database_passes_the_check(engine):
    schema.check(engine)


def test_migrating_again_changes_nothing(url, engine):
    schema.migrate(url)
    schema.check(engine)


@pytest.mark.parametrize(
    ("version", "advice"), [("0001", "run `pinledger migrate`"), ("9999", "use the newer program")]
)
def test_another_schema_is_refused_with_what_to_do(engine, version, advice):
    with engine.begin() as connection:
        connection.execute(text(f"UPDATE alembic_version SET version_num = '{version}'"))
    with pytest.raises(SchemaError, match=advice):
        schema.check(engine)


def test_asking_a_file_that_is_not_there_makes_none(tmp_path):
    file = tmp_path / "none.db"
    with pytest.raises(SchemaError, match="is not there"):
        schema.check(open_engine(f"sqlite:///{file}"))
    assert not file.exists()


def test_a_database_without_a_ledger_is_refused(tmp_path):
    file = tmp_path / "empty.db"
    file.touch()
    engine = open_engine(f"sqlite:///{file}")
    with pytest.raises(SchemaError, match="no ledger"):
        schema.check(engine)
    engine.dispose()


def test_a_failed_migration_leaves_the_old_version(url, engine, tmp_path, monkeypatch):
    """A migration that creates a table and then fails: nothing of it stays, on SQLite too."""
    scripts = ScriptDirectory.from_config(schema.configuration())
    (tmp_path / "broken.py").write_text(
        f"from alembic import op\nrevision = 'broken'\ndown_revision = {scripts.get_current_head()!r}\n\n\n"
        "def upgrade():\n    op.execute('CREATE TABLE half (id INTEGER)')\n    op.execute('nonsense')\n"
    )
    config = schema.configuration()
    config.set_main_option("version_locations", f"{scripts.versions}\n{tmp_path}")
    config.set_main_option("path_separator", "newline")
    monkeypatch.setattr(schema, "configuration", lambda: config)
    with pytest.raises(Exception, match="nonsense"):
        schema.migrate(url)
    assert not inspect(engine).has_table("half")
    monkeypatch.undo()
    schema.check(engine)


def test_a_ledger_in_a_folder_that_is_not_there_names_the_folder_and_what_to_do(tmp_path):
    with pytest.raises(LedgerError, match=r"no folder .*gone for the ledger .*; create it"):
        open_engine(f"sqlite:///{tmp_path / 'gone' / 'ledger.db'}")


@pytest.mark.parametrize("address", ["nonsense", "mysql://host/name"])
def test_an_address_of_no_known_database_is_refused(address):
    with pytest.raises(LedgerError, match="wanted"):
        open_engine(address)


@pytest.mark.parametrize(
    ("version", "mode"),
    [
        ((3, 40, 1), "DELETE"),
        ((3, 44, 6), "WAL"),
        ((3, 50, 6), "DELETE"),
        ((3, 50, 7), "WAL"),
        ((3, 51, 3), "WAL"),
    ],
)
def test_write_ahead_logging_only_where_it_loses_nothing(version, mode):
    assert journal_mode(version) == (mode, "EXTRA" if mode == "DELETE" else "FULL")


def test_a_rollback_takes_tables_with_it(engine):
    with engine.connect() as connection:
        connection.execute(text("CREATE TABLE half (id INTEGER)"))
        connection.rollback()
    assert not inspect(engine).has_table("half")


def test_savepoints_do_not_leak(engine):
    with engine.connect() as connection:
        savepoint = connection.begin_nested()
        connection.execute(text("UPDATE chain_head SET seq = 7"))
        savepoint.rollback()
        assert connection.execute(text("SELECT seq FROM chain_head")).scalar_one() == 0


def test_a_commit_that_could_not_be_made_leaves_no_lock_behind(sqlite_url):
    """A reader holds the file for longer than a write that can be spared waits; the next writer finds it free."""
    engine = open_engine(sqlite_url)
    with Session(reading(engine)) as reader:
        reader.execute(text("SELECT * FROM change"))
        with Session(hurried(engine)) as writer:
            writer.execute(text("UPDATE chain_head SET seq = seq"))
            with pytest.raises(OperationalError, match="locked"):
                writer.commit()
    with Session(hurried(engine)) as second, Session(hurried(engine)) as third:
        second.execute(text("UPDATE chain_head SET seq = seq"))
        second.commit()
        third.execute(text("UPDATE chain_head SET seq = seq"))
        third.commit()
    engine.dispose()
