"""Every past schema comes to this one with its data; a fault on the way leaves the old one as it was."""

import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from alembic.script import ScriptDirectory
from sqlalchemy import MetaData, event, text
from sqlalchemy.engine import Engine

from db import schema
from db.session import Session, open_engine
from db.verify import verify
from tests.conftest import NUMBERS
from tests.db.old_ledgers import contents, fill

SCRIPTS = ScriptDirectory.from_config(schema.configuration())
PAST = [script.revision for script in reversed(list(SCRIPTS.walk_revisions()))][:-1]
pytestmark = pytest.mark.filterwarnings(
    "ignore:.*expression-based index"
)  # of SQLite, whose rows are compared
ROOT = Path(__file__).parents[2]
# Migrates, and is killed by itself before its so-and-so-manieth statement.
KILLED = """
import os, signal, sys
from sqlalchemy import event
from sqlalchemy.engine import Engine
from db import schema
left = int(sys.argv[2])
@event.listens_for(Engine, "before_cursor_execute")
def count(*_):
    global left
    left -= 1
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
schema.migrate(sys.argv[1])
"""


@contextmanager
def opened(url):
    engine = open_engine(url)
    yield engine
    engine.dispose()


@pytest.fixture
def empty_url(request, tmp_path):
    """A database without a ledger of the kind that the test is given."""

    def make(kind):
        if kind == "sqlite":
            return f"sqlite:///{tmp_path / f'old{next(NUMBERS)}.db'}"
        server, name = request.getfixturevalue("postgresql_server"), f"old_{next(NUMBERS)}"
        with psycopg.connect(server.format("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE template0")
        return server.format(name)

    return make


def at_schema(url, revision):
    """A ledger with data at this schema; gives what it holds, and the tables as they were."""
    schema.migrate(url, revision)
    with opened(url) as engine, engine.begin() as connection:
        held = fill(connection)
        tables = MetaData()
        tables.reflect(connection)
    return held, [tables.tables[name] for name in held]


QUICK = {"sqlite": {*PAST[::4], PAST[-1]}, "postgresql": {PAST[0], PAST[-1]}}
CASES = [
    pytest.param(kind, revision, marks=() if revision in QUICK[kind] else pytest.mark.long)
    for kind in QUICK
    for revision in PAST
]


@pytest.mark.parametrize(("kind", "revision"), CASES)
def test_every_past_schema_comes_to_this_one_with_its_data(kind, revision, empty_url):
    url = empty_url(kind)
    held, tables = at_schema(url, revision)
    schema.migrate(url)
    with opened(url) as engine:
        schema.check(engine)
        with Session(engine) as session:
            assert verify(session, rebuild=True).facts == sum(
                len(rows)
                for table, rows in zip(tables, held.values(), strict=True)
                if "supersedes" in table.columns
            )
            assert contents(session.connection(), tables) == held


def state(url):
    with opened(url) as engine, engine.connect() as connection:
        tables = MetaData()
        tables.reflect(connection)
        version = connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one()
        return version, contents(
            connection, [each for each in tables.sorted_tables if each.name != "alembic_version"]
        )


@contextmanager
def failing_at(number):
    """The database fails at this statement of whatever is done; gives how many there were."""
    seen = [0]

    def count(*_):
        seen[0] += 1
        if seen[0] == number:
            raise OSError("the disk has gone")

    event.listen(Engine, "before_cursor_execute", count)
    yield seen
    event.remove(Engine, "before_cursor_execute", count)


@pytest.mark.parametrize(
    ("kind", "faults"),
    [
        ("sqlite", 2),
        *(pytest.param(kind, 10**6, marks=pytest.mark.long) for kind in ("sqlite", "postgresql")),
    ],
)
def test_a_fault_anywhere_in_a_migration_leaves_the_old_schema_and_its_data(kind, faults, empty_url):
    url = empty_url(kind)
    at_schema(url, PAST[3])
    before = state(url)
    again = empty_url(kind)
    at_schema(again, PAST[3])
    with failing_at(0) as seen:
        schema.migrate(again)
    assert seen[0] > 20
    for number in range(seen[0], 0, -max(seen[0] // faults, 1)):
        with failing_at(number), pytest.raises(OSError, match="disk"):
            schema.migrate(url)
        assert state(url) == before, number
    schema.migrate(url)
    assert state(url) == state(again)


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_migration_that_is_killed_leaves_the_old_schema_and_its_data(kind, empty_url):
    url = empty_url(kind)
    at_schema(url, PAST[3])
    before = state(url)
    done = subprocess.run([sys.executable, "-c", KILLED, url, "25"], cwd=ROOT, check=False)
    assert done.returncode == -9
    assert state(url) == before
    schema.migrate(url)
    with opened(url) as engine:
        schema.check(engine)


def test_a_newer_schema_is_left_alone(url, engine):
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(schema.SchemaError, match="use the newer program"):
        schema.migrate(url)
    with pytest.raises(schema.SchemaError, match="use the newer program"):
        schema.check(engine)
