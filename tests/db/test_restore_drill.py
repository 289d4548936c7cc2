"""The drill: how much is at risk, and how soon a ledger runs again, by the README's own commands."""

import os
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import select

from api.app import make_app
from api.settings import Settings
from db import schema
from db.backup import back_up
from db.chain import append
from db.records.fleet import BaseStation
from db.restore import restore
from db.session import Session, open_engine
from db.verify import verify
from seed_data.load import load_demo
from tests.db.test_backup import NOW
from tests.ledger import ACT, fleet
from tests.servers import postgresql

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").splitlines()
pytestmark = pytest.mark.long


def told(first, last):
    """The README's lines from one that begins so to one that begins so."""
    lines = [line.strip() for line in README]
    start = next(at for at, line in enumerate(lines) if line.startswith(first))
    end = next(at for at, line in enumerate(lines) if at >= start and line.startswith(last))
    return lines[start : end + 1]


@contextmanager
def opened(url):
    engine = open_engine(url)
    yield engine
    engine.dispose()


def enter(engine, name):
    with Session(engine) as session, session.begin():
        append(session, ACT, [(BaseStation, [{"base": name}])])


def test_the_demo_fleet_is_backed_up_and_runs_again_in_minutes(tmp_path):
    url, again = f"sqlite:///{tmp_path / 'fleet.db'}", f"sqlite:///{tmp_path / 'again.db'}"
    load_demo(url)
    began = time.monotonic()
    with opened(url) as engine:
        file, manifest = back_up(engine, tmp_path, now=NOW)
    backed = time.monotonic()
    restore(file, again, now=NOW)
    app = make_app(Settings(db=again, secure_cookie=False))
    assert TestClient(app).get("/ready").status_code == 200
    app.state.engine.dispose()
    back = time.monotonic() - backed
    assert back < 15 * 60
    size = file.stat().st_size / 1e6
    print(  # noqa: T201
        f"{manifest.facts} facts: backed up in {backed - began:.1f} s ({size:.1f} MB), restored, proven and ready in "
        f"{back:.1f} s; at risk is what was entered since the last backup, 24 h where it is nightly"
    )


class Keeper:
    """The README's commands, run by the owner of a server in its own folder."""

    def __init__(self, server):
        self.server, self.kept, self.new = server, server.folder / "kept", server.folder / "new"
        self.run('mkdir -p "$KEPT/wal" "$NEW"')

    @property
    def _env(self):
        paths = f"{self.server.programs}:{os.environ['PATH']}"
        own = {
            "KEPT": str(self.kept),
            "NEW": str(self.new),
            "PGHOST": str(self.server.folder),
            "PGUSER": "ledger",
        }
        return {**os.environ, **own, "PATH": paths}

    def run(self, command):
        words = [*self.server.run_as, "bash", "-e", "-c", command]
        done = subprocess.run(words, env=self._env, cwd="/", capture_output=True, text=True, check=False)
        assert done.returncode == 0, (command, done.stderr)

    def start(self, command):
        words = [*self.server.run_as, "bash", "-c", f"exec {command}"]
        return subprocess.Popen(words, env=self._env, cwd="/", stderr=subprocess.DEVNULL)


def test_by_the_servers_own_log_seconds_are_at_risk():
    once = told("pg_receivewal", 'pg_receivewal -D "$KEPT/wal" --slot pinledger --synchronous')
    again = told('cp -a "$KEPT/base', "pg_ctl")
    with postgresql("-c max_connections=40 -c wal_level=replica") as server:
        with psycopg.connect(server.url.format("postgres"), autocommit=True) as connection:
            connection.execute("CREATE DATABASE ledger")
        url, keeper = server.url.format("ledger"), Keeper(server)
        schema.migrate(url)
        with opened(url) as engine:
            with Session(engine) as session, session.begin():
                fleet(session)
            keeper.run("; ".join(once[:2]))
            receiving = keeper.start(once[2].partition("#")[0])
            number, until = 0, time.monotonic() + 5
            while time.monotonic() < until:
                number += 1
                enter(engine, f"B{number}")
        server.kill()
        lost_at = time.monotonic()
        receiving.terminate()
        receiving.wait()
        keeper.run("; ".join(again[:-1]))
        start = again[-1].partition(" && ")[0]
        keeper.run(
            f"{start} -o \"-c listen_addresses='' -c unix_socket_directories={server.folder}\" -l $NEW/said"
        )
        with opened(url) as engine, Session(engine) as session:
            verify(session, rebuild=True)
            schema.check(engine)
            kept = sum(base.startswith("B") for base in session.scalars(select(BaseStation.base)))
        back = time.monotonic() - lost_at
        print(f"server lost after {number} entries: {number - kept} gone, back in {back:.1f} s")  # noqa: T201
        assert number - kept <= max(5, number // 100)
        keeper.run("pg_ctl -D $NEW -m immediate stop")
