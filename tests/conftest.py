"""
Databases for the tests: every test that asks for `url`, `engine` or `session` runs on SQLite and on PostgreSQL, some of
them on the latter with the long forms only (`RULES_OF_OURS`).

Each test has a database of its own, copied from a template that was migrated once. The PostgreSQL server is started
here, once a run, by `tests.servers`.
"""

import contextlib
import gc
import itertools
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import psycopg
import pytest
from hypothesis import settings
from sqlalchemy import Engine
from xdist.scheduler import LoadScopeScheduling

from db.schema import migrate
from db.session import Session, open_engine
from seed_data.load import Demo, load_demo
from tests.ledger import fleet
from tests.servers import postgresql

# Nothing here outlives the run, so nothing waits for a disk.
OPTIONS = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c max_connections=80"
NUMBERS = itertools.count()
# The normal run stays quick and draws the same each time, long forms draw anew; `--hypothesis-profile thorough` draws
# as many as the library would.
settings.register_profile("quick", max_examples=15, deadline=None, derandomize=True)
settings.register_profile("anew", settings.get_profile("quick"), derandomize=False)
settings.register_profile("thorough", max_examples=200, deadline=None)
settings.load_profile("quick")
Copies = Callable[[str], contextlib.AbstractContextManager[str]]


# Files whose rules are worked out here and not by the database: on PostgreSQL they run with the long forms. What the
# database itself does (guards, races, chain, upgrades, imports, backups) runs on both each time, as does whatever many
# ask at once.
RULES_OF_OURS = {
    "test_corrections",
    "test_entry_reference",
    "test_flown_days",
    "test_import_corrupted",
    "test_import_wrong_files",
    "test_installations",
    "test_landings",
    "test_loads",
    "test_move_rules",
    "test_notices",
    "test_observe",
    "test_observe_history",
    "test_people",
    "test_readings",
    "test_records",
    "test_uploaded",
}


# All that need the demo, so that it is loaded and served once.
NEED_THE_DEMO = (
    "seed_data/",
    "browser/test_chart_style",
    "browser/test_pages",
    "browser/test_people",
    "browser/test_pin",
)


class Rooms(LoadScopeScheduling):
    """A file's tests go to one worker, all that need the demo to one; the library's marks for it are not read."""

    def _split_scope(self, nodeid: str) -> str:
        file = nodeid.partition("::")[0]
        return "demo" if file.partition("tests/")[2].startswith(NEED_THE_DEMO) else file


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> LoadScopeScheduling:
    """Hand tests out by room."""
    return Rooms(config, log)


def pytest_configure(config: pytest.Config) -> None:
    """Let long forms draw other examples each time they run."""
    if config.getoption("markexpr") == "long" and not config.getoption("hypothesis_profile", None):
        settings.load_profile("anew")


def pytest_collection_finish() -> None:
    """Spare the collector what stays: looking at all that is imported again and again took a tenth of the run."""
    gc.freeze()
    gc.set_threshold(100_000, 50, 50)


@pytest.hookimpl(tryfirst=True)  # before those that are not asked for are left out
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave rules of ours on PostgreSQL to the long forms."""
    for item in items:
        ours = item.path.stem in RULES_OF_OURS and "_many_" not in item.name
        if ours and "postgresql" in item.name:
            item.add_marker(pytest.mark.long)


class LoadedDemo(NamedTuple):
    """What the load said, the database's address, and the time of the processor that it took."""

    demo: Demo
    url: str
    cpu_seconds: float


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str:
    return request.getfixturevalue(f"{request.param}_url")


@pytest.fixture
def engine(url: str) -> Iterator[Engine]:
    engine = open_engine(url)
    yield engine
    engine.dispose()


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    with Session(engine) as session:
        yield session


@pytest.fixture
def sqlite_url(sqlite_copies: Copies) -> Iterator[str]:
    with sqlite_copies(f"ledger_{next(NUMBERS)}") as url:
        yield url


@pytest.fixture
def postgresql_url(postgresql_copies: Copies) -> Iterator[str]:
    with postgresql_copies(f"ledger_{next(NUMBERS)}") as url:
        yield url


@pytest.fixture(scope="session")
def sqlite_copies(sqlite_template: Path) -> Copies:
    """A migrated database of this name, for as long as it is wanted."""

    @contextlib.contextmanager
    def copy(name: str) -> Iterator[str]:
        path = sqlite_template.with_name(f"{name}.db")
        shutil.copy(sqlite_template, path)
        yield f"sqlite:///{path}"
        path.unlink()

    return copy


@pytest.fixture(scope="session")
def postgresql_copies(postgresql_template: str) -> Copies:
    """A migrated database of this name, for as long as it is wanted."""

    @contextlib.contextmanager
    def copy(name: str) -> Iterator[str]:
        with psycopg.connect(postgresql_template.format("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE template_ledger")
            yield postgresql_template.format(name)
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")

    return copy


@pytest.fixture(params=["sqlite", "postgresql"])
def small_fleet(request: pytest.FixtureRequest) -> Iterator[Session]:
    """A session on a ledger with the small fleet of `tests.ledger`; what the test does is rolled back."""
    with Session(request.getfixturevalue(f"{request.param}_fleet")) as session:
        yield session


@pytest.fixture(scope="session")
def sqlite_fleet(sqlite_copies: Copies) -> Iterator[Engine]:
    with sqlite_copies("fleet") as url:
        yield from _with_fleet(url)


@pytest.fixture(scope="session")
def postgresql_fleet(postgresql_copies: Copies) -> Iterator[Engine]:
    with postgresql_copies("fleet") as url:
        yield from _with_fleet(url)


def _with_fleet(url: str) -> Iterator[Engine]:
    engine = open_engine(url)
    with Session(engine) as session, session.begin():
        fleet(session)
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "ledger.db"
    migrate(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def postgresql_template(postgresql_server: str) -> str:
    """The server's address with a hole for the database's name; `template_ledger` on it is migrated."""
    with psycopg.connect(postgresql_server.format("postgres"), autocommit=True) as connection:
        connection.execute("CREATE DATABASE template_ledger")
    migrate(postgresql_server.format("template_ledger"))
    return postgresql_server


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    with postgresql(OPTIONS) as server:
        yield server.url


@pytest.fixture(scope="session")
def loaded_demo(tmp_path_factory: pytest.TempPathFactory) -> LoadedDemo:
    """The demo as `load_demo` leaves it; who writes takes a copy."""
    folder = tmp_path_factory.mktemp("demo")
    url = f"sqlite:///{folder / 'demo.db'}"
    began = time.process_time()
    demo = load_demo(url, folder / "records")
    return LoadedDemo(demo, url, time.process_time() - began)
