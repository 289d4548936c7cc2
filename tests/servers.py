"""A PostgreSQL server of our own in a temporary folder; a watchdog stops it even if the test run is killed."""

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import distributions
from pathlib import Path

import pytest

NO_SERVER = (
    "PostgreSQL's programs (initdb, pg_ctl) with the extension btree_gist were not found in /usr/lib/postgresql/*/bin, "
    "on the PATH or in an installed wheel; install the Debian package `postgresql` (apt-get install postgresql)"
)


@dataclass(frozen=True)
class Server:
    """`run_as` goes before every program; `folder` is owned by whoever runs them and holds the socket and the data."""

    folder: Path
    programs: Path
    run_as: list[str]
    options: str

    @property
    def url(self) -> str:
        """The address with a hole for the database's name."""
        return f"postgresql://ledger@/{{}}?host={self.folder}"

    def run(self, program: str, *words: object) -> str:
        """Run one of the server's programs as its owner."""
        return _run([*self.run_as, self.programs / program, *map(str, words)])

    def control(self, *words: object) -> list[str]:
        """The command that starts and stops this server."""
        return [
            *self.run_as,
            str(self.programs / "pg_ctl"),
            "-D",
            str(self.folder / "data"),
            *map(str, words),
        ]

    def start(self) -> None:
        """Start, and wait until it answers."""
        options = f"{self.options} -c listen_addresses='' -c unix_socket_directories={self.folder}"
        _run(self.control("-w", "-l", self.folder / "log", "-o", options, "start"))

    def stop(self) -> None:
        """Stop at once, as a machine that is switched off would, but for its disks."""
        _run(self.control("-m", "immediate", "stop"))

    def kill(self) -> None:
        """Kill the server with SIGKILL, its children with it, and wait until all are gone."""
        children = subprocess.run(
            ["ps", "-o", "pid=", "--ppid", str(self.pid)], capture_output=True, text=True, check=False
        )
        every = [self.pid, *map(int, children.stdout.split())]
        for pid in every:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        while any(Path(f"/proc/{pid}").exists() for pid in every):
            time.sleep(0.01)
        (self.folder / "data" / "postmaster.pid").unlink(missing_ok=True)

    @property
    def pid(self) -> int:
        """Process of the running server."""
        return int((self.folder / "data" / "postmaster.pid").read_text().split()[0])


@contextlib.contextmanager
def postgresql(options: str) -> Iterator[Server]:
    """A running server; nothing of it outlives the context."""
    programs = _programs()
    folder = Path(tempfile.mkdtemp(prefix="pinledger-"))
    server = Server(folder, programs, _unprivileged(folder), options)
    server.run(
        "initdb", "-D", folder / "data", "-U", "ledger", "-A", "trust", "-E", "UTF8", "--locale=C", "-N"
    )
    with _stopped_at_the_end(server):
        server.start()
        yield server


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
def _stopped_at_the_end(server: Server) -> Iterator[None]:
    # The shell waits for its input to end, which happens when this process ends, however it ends.
    stop = 'cat >/dev/null; folder=$1; shift; "$@" -m immediate stop; rm -rf "$folder"'
    quiet = subprocess.DEVNULL
    watchdog = ["sh", "-c", stop, "watchdog", str(server.folder), *server.control()]
    with subprocess.Popen(
        watchdog, stdin=subprocess.PIPE, stdout=quiet, stderr=quiet, start_new_session=True
    ):
        yield


def _run(command: list[object]) -> str:
    done = subprocess.run(list(map(str, command)), capture_output=True, text=True, check=False, cwd="/")
    if done.returncode != 0:
        pytest.fail(f"{' '.join(map(str, command))} failed: {done.stdout}{done.stderr}")
    return done.stdout
