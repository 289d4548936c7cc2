"""
Databases for the tests: every test that asks for `url`, `engine` or `session` runs on SQLite and on PostgreSQL.

Each test has a database of its own, copied from a template that was migrated once. The PostgreSQL server is started
here, once a run, in a temporary folder; a watchdog stops it even if the test run is killed.
"""

import contextlib
import itertools
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from importlib.metadata import distributions
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import Engine

from db.schema import migrate
from db.session import Session, open_engine
from tests.ledger import fleet

NO_SERVER = (
    "PostgreSQL's programs (initdb, pg_ctl) with the extension btree_gist were not found in /usr/lib/postgresql/*/bin, "
    "on the PATH or in an installed wheel; install the Debian package `postgresql` (apt-get install postgresql)"
)
# Nothing here outlives the run, so nothing waits for a disk.
OPTIONS = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c listen_addresses='' -c max_connections=80"
NUMBERS = itertools.count()
Copies = Callable[[str], contextlib.AbstractContextManager[str]]


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
    programs = _programs()
    folder = Path(tempfile.mkdtemp(prefix="pinledger-"))
    run_as = _unprivileged(folder)
    data = folder / "data"
    made = ["-D", data, "-U", "ledger", "-A", "trust", "-E", "UTF8", "--locale=C", "-N"]
    _run([*run_as, programs / "initdb", *made])
    control = [*run_as, str(programs / "pg_ctl"), "-D", str(data)]
    with _stopped_at_the_end(folder, control):
        options = f"{OPTIONS} -c unix_socket_directories={folder}"
        _run([*control, "-w", "-l", folder / "log", "-o", options, "start"])
        yield f"postgresql://ledger@/{{}}?host={folder}"


def _programs() -> Path:
    on_path = shutil.which("initdb")
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    for folder in [*debian, *([Path(on_path).resolve().parent] if on_path else []), *_in_wheels()]:
        if (folder / "initdb").exists() and _has_btree_gist(folder):
            return folder
    pytest.fail(NO_SERVER)


def _in_wheels() -> Iterator[Path]:
    for wheel in distributions():
        for file in wheel.files or []:
            if file.name == "initdb":
                yield Path(str(file.locate())).resolve().parent


def _has_btree_gist(programs: Path) -> bool:
    shared = subprocess.run(
        [programs / "pg_config", "--sharedir"], capture_output=True, text=True, check=False
    )
    return Path(shared.stdout.strip(), "extension", "btree_gist.control").exists()


def _unprivileged(folder: Path) -> list[str]:
    """The server refuses to run as root; then `postgres` or `nobody` runs it and owns the folder."""
    if os.geteuid() != 0:
        return []
    known = {entry.pw_name: entry for entry in pwd.getpwall()}
    user = known.get("postgres") or known["nobody"]
    os.chown(folder, user.pw_uid, user.pw_gid)
    return ["setpriv", f"--reuid={user.pw_uid}", f"--regid={user.pw_gid}", "--clear-groups", "--"]


@contextlib.contextmanager
def _stopped_at_the_end(folder: Path, control: list[str]) -> Iterator[None]:
    # The shell waits for its input to end, which happens when this process ends, however it ends.
    stop = 'cat >/dev/null; folder=$1; shift; "$@" -m immediate stop; rm -rf "$folder"'
    quiet = subprocess.DEVNULL
    watchdog = ["sh", "-c", stop, "watchdog", str(folder), *control]
    with subprocess.Popen(
        watchdog, stdin=subprocess.PIPE, stdout=quiet, stderr=quiet, start_new_session=True
    ):
        yield


def _run(command: list[str | Path]) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd="/")
    if done.returncode != 0:
        pytest.fail(f"{' '.join(map(str, command))} failed: {done.stdout}{done.stderr}")
