"""No room on the disk, a database that is away or busy, a clock set back: told as such, readable, nothing half kept."""

import datetime as dt
import shutil
import sqlite3
import threading
import time
import uuid
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import make_url, select, text
from sqlalchemy.exc import DBAPIError

from api import cli
from api.callers import PLAIN_COOKIE
from db import chain, session
from db.chain import append
from db.lookup import known_by
from db.outage import outage_of
from db.records.fleet import BaseStation
from db.records.log import Change
from db.records.readings import Landing
from db.schema import migrate
from db.session import Session, open_engine
from db.verify import verify
from tests.api.client_at import landed, post, program, token_for
from tests.disks import no_room, small_disk
from tests.ledger import ACT, fleet
from tests.servers import postgresql

DAY = dt.date(2024, 1, 1)


@contextmanager
def opened(url):
    engine = open_engine(url)
    yield engine
    engine.dispose()


@pytest.fixture
def client(url):
    with opened(url) as engine, Session(engine) as session, session.begin():
        fleet(session)
    made = program(url)
    yield made
    made.app.state.engine.dispose()


@pytest.fixture
def disk(tmp_path):
    """A ledger with figures on a disk with a little room."""
    with small_disk(tmp_path, 40_000) as mounted:
        yield tmp_path, mounted


def days_kept(client):
    with Session(client.app.state.engine) as session:
        verify(session, rebuild=True)
        return session.scalars(select(Landing.day).order_by(Landing.day)).all()


def test_a_full_disk_refuses_writes_and_still_answers_readers(disk, shown_url):
    folder, mounted = disk
    shutil.copy(make_url(shown_url).database, folder / "ledger.db")
    client = program(
        f"sqlite:///{folder / 'ledger.db'}", token=token_for(f"sqlite:///{folder / 'ledger.db'}", "eve")
    )
    engine, key, row = client.app.state.engine, str(uuid.uuid4()), landed("2026-05-31", "ZZ-A")
    before = len(days_kept(client))
    with no_room(engine, folder, mounted=mounted):
        for _ in range(5):
            refused = post(client, "landings", row, key)
            assert refused.status_code == 507, refused.text
            assert refused.json()["title"] == "No room left"
            assert "free some room" in refused.json()["detail"]
        assert client.get("/api/v1/changeouts").status_code == 200
    assert len(days_kept(client)) == before
    assert [post(client, "landings", row, key).status_code for _ in range(2)] == [201, 201]
    assert len(days_kept(client)) == before + 1
    engine.dispose()


def test_a_ledger_that_another_program_holds_is_busy_not_broken(sqlite_url, monkeypatch):
    with opened(sqlite_url) as engine, Session(engine) as ledger, ledger.begin():
        fleet(ledger)
    token = token_for(sqlite_url)
    monkeypatch.setattr(session, "BUSY_SECONDS", 0.05)
    client = program(sqlite_url, token)
    holder = sqlite3.connect(make_url(sqlite_url).database, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    busy = post(client, "landings", landed(DAY))
    assert (busy.status_code, busy.headers["Retry-After"]) == (503, "10")
    assert busy.json()["title"] == "The database is away"
    holder.execute("ROLLBACK")
    holder.close()
    assert post(client, "landings", landed(DAY)).status_code == 201
    client.app.state.engine.dispose()


@contextmanager
def closed(url):
    """The server sends everybody away from this database and lets nobody in."""
    name = make_url(url).database
    with psycopg.connect(url.replace(name, "postgres", 1), autocommit=True) as server:
        server.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false")
        server.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", [name])
        yield
        server.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")


def test_a_database_that_is_away_is_told_and_nothing_is_lost_when_it_is_back(postgresql_url):
    with opened(postgresql_url) as engine, Session(engine) as ledger, ledger.begin():
        fleet(ledger)
    client, key = program(postgresql_url), str(uuid.uuid4())
    supervisor = TestClient(client.app)
    person = TestClient(client.app, cookies={PLAIN_COOKIE: "x"}, raise_server_exceptions=False)
    assert post(client, "landings", landed(DAY)).status_code == 201
    with closed(postgresql_url):
        for _ in range(3):
            away = post(client, "landings", landed(DAY + dt.timedelta(1)), key)
            assert (away.status_code, away.headers["Retry-After"]) == (503, "10"), away.text
            assert "password" not in away.text
            assert [supervisor.get(page).status_code for page in ("/ready", "/health")] == [503, 200]
            assert person.get("/brakes").status_code == 503
    assert post(client, "landings", landed(DAY + dt.timedelta(1)), key).status_code == 201
    assert days_kept(client) == [DAY, DAY + dt.timedelta(1)]
    client.app.state.engine.dispose()


def test_a_connection_lost_in_the_middle_of_a_write_leaves_nothing(postgresql_url):
    with opened(postgresql_url) as engine:
        with Session(engine) as ledger, ledger.begin():
            fleet(ledger)
        with Session(engine) as ledger:
            append(ledger, ACT, [(BaseStation, [{"base": "Half"}])])
            with closed(postgresql_url), pytest.raises(DBAPIError, match="terminat") as lost:
                ledger.execute(text("SELECT 1"))
        assert outage_of(lost.value) is not None
        with Session(engine) as ledger:
            assert "Half" not in ledger.scalars(select(BaseStation.base)).all()
            verify(ledger, rebuild=True)


def test_a_command_on_a_database_that_is_away_says_so(tmp_path, capsys):
    assert cli.main(["verify", "--db", f"postgresql://ledger@/none?host={tmp_path}"]) == 1
    assert "cannot be reached" in capsys.readouterr().err


class SetBack(dt.datetime):
    """A clock that was set back by a day."""

    @classmethod
    def now(cls, tz=None):
        return super().now(tz) - dt.timedelta(days=1)


def test_a_clock_set_back_keeps_the_order(client, monkeypatch):
    assert post(client, "landings", landed(DAY)).status_code == 201
    with Session(client.app.state.engine) as ledger:
        before, today = known_by(ledger), dt.datetime.now(dt.UTC).date()
    monkeypatch.setattr(chain.dt, "datetime", SetBack)
    assert post(client, "landings", landed(DAY + dt.timedelta(1))).status_code == 201
    monkeypatch.undo()
    assert post(client, "landings", landed(DAY + dt.timedelta(2))).status_code == 201
    assert len(days_kept(client)) == 3
    with Session(client.app.state.engine) as ledger:
        written = ledger.execute(select(Change.seq, Change.recorded_on).order_by(Change.seq)).all()
        assert [change.recorded_on for change in written[-3:]] == [today, today - dt.timedelta(1), today]
        # What was known at a sequence number stays as it was, and what came after counts as later.
        assert known_by(ledger, today).seq == before.seq + 2


@pytest.mark.long
def test_a_server_away_for_30_seconds_is_back_within_10(tmp_path):
    with postgresql("-c max_connections=40") as server:
        with psycopg.connect(server.url.format("postgres"), autocommit=True) as connection:
            connection.execute("CREATE DATABASE ledger")
        url = server.url.format("ledger")
        migrate(url)
        with opened(url) as engine, Session(engine) as ledger, ledger.begin():
            fleet(ledger)
        client, keys = program(url), [str(uuid.uuid4()) for _ in range(400)]
        assert post(client, "landings", landed(DAY), keys[0]).status_code == 201
        server.stop()
        left, statuses = time.monotonic(), set()
        number = 0
        while time.monotonic() < left + 30:
            number += 1
            statuses.add(post(client, "landings", landed(DAY + dt.timedelta(1)), keys[1]).status_code)
            time.sleep(0.2)
        assert statuses == {503}
        server.start()
        back = time.monotonic()
        while post(client, "landings", landed(DAY + dt.timedelta(1)), keys[1]).status_code != 201:
            assert time.monotonic() < back + 10
        print(f"away 30 s: {number} requests answered 503; back after {time.monotonic() - back:.2f} s")  # noqa: T201
        assert days_kept(client) == [DAY, DAY + dt.timedelta(1)]
        client.app.state.engine.dispose()


@pytest.mark.long
def test_a_full_disk_under_postgresql_refuses_writes_and_still_answers_readers(tmp_path):
    with postgresql("-c max_connections=40") as server:
        room = server.folder / "room"
        room.mkdir()
        with small_disk(room, 60_000) as mounted:
            if not mounted:
                pytest.skip("a small disk needs the right to mount")
            shutil.chown(room, Path(server.folder).owner(), Path(server.folder).group())
            with psycopg.connect(server.url.format("postgres"), autocommit=True) as connection:
                connection.execute(f"CREATE TABLESPACE room LOCATION '{room}'")
                connection.execute("CREATE DATABASE ledger TABLESPACE room")
            url = server.url.format("ledger")
            migrate(url)
            with opened(url) as engine, Session(engine) as ledger, ledger.begin():
                fleet(ledger)
            client = program(url)
            assert post(client, "landings", landed(DAY)).status_code == 201
            with no_room(client.app.state.engine, room, mounted=True):
                statuses = [
                    post(client, "landings", landed(DAY + dt.timedelta(each))).status_code
                    for each in range(1, 400)
                ]
                assert set(statuses) <= {201, 507}
                assert statuses[-1] == 507
                assert client.get("/api/v1/verify").status_code == 200
            print(f"full disk: {statuses.count(507)} writes answered 507 of {len(statuses)}")  # noqa: T201
            assert len(days_kept(client)) == 1 + statuses.count(201)
            assert post(client, "landings", landed(DAY + dt.timedelta(999))).status_code == 201
            client.app.state.engine.dispose()


def test_threads_of_readers_are_answered_while_a_writer_waits(sqlite_url):
    """A reader holds no lock that a writer needs, and waits for none."""
    with opened(sqlite_url) as engine, Session(engine) as ledger, ledger.begin():
        fleet(ledger)
    client, found = program(sqlite_url), []
    with Session(client.app.state.engine) as writer:
        append(writer, ACT, [(BaseStation, [{"base": "Slow"}])])
        reader = threading.Thread(target=lambda: found.append(client.get("/api/v1/verify").status_code))
        reader.start()
        reader.join(20)
        writer.rollback()
    assert found == [200]
    client.app.state.engine.dispose()
