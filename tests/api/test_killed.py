"""The service killed in the middle of entries and imports: nothing acknowledged is lost, no import is half there."""

import csv
import datetime as dt
import http.client
import json
import random
import threading
import time
import uuid
from collections import Counter
from contextlib import contextmanager

import psycopg
import pytest
from sqlalchemy import func, select

from db.records.fleet import Aircraft, BaseStation
from db.records.readings import Landing, PinReading
from db.schema import migrate
from db.session import Session, open_engine
from db.verify import verify
from tests.api.client_at import token_for
from tests.api.nursery import kill, nursery, wait
from tests.ledger import fleet
from tests.servers import postgresql

CLERKS = 3
FIRST = dt.date(2000, 1, 1)
BATCH = 40  # bases in one import


@pytest.fixture(scope="module")
def born():
    with nursery() as made:
        yield made


class Clerk:
    """Enters landings and readings without a pause; remembers what was acknowledged, and repeats what was not."""

    def __init__(self, number, token):
        self.number, self.token = number, token
        self.acknowledged, self.open, self.made = [], None, 0
        self.faults, self.away = [], 0

    def next(self):
        """What stands unanswered, else something new with a key of its own."""
        if self.open is None:
            day = FIRST + dt.timedelta(days=self.made // 2)
            landing = {"registration": f"ZZ-{self.number:03d}", "day": str(day), "full_stops": 2}
            reading = {"serial": f"S{self.number}", "brake_type": "BT-1", "day": str(day), "pin_1": "40.0"}
            reading |= {"unit": "mm", "convention": "left"}
            kind, row = ("landings", landing) if self.made % 2 == 0 else ("pin-readings", reading)
            self.open = (kind, row, str(uuid.uuid4()))
            self.made += 1
        return self.open

    def work(self, address, stop):
        host, _, port = address.removeprefix("http://").partition(":")
        line = http.client.HTTPConnection(host, int(port), timeout=60)
        try:
            while not stop.is_set():
                kind, row, key = self.next()
                headers = {"Authorization": f"Bearer {self.token}", "Idempotency-Key": key}
                headers["Content-Type"] = "application/json"
                line.request("POST", f"/api/v1/{kind}", json.dumps(row), headers)
                answer = line.getresponse()
                told = answer.read()
                if answer.status == 503:
                    self.away += 1
                    time.sleep(0.05)
                    continue
                if answer.status != 201:
                    self.faults.append((answer.status, kind, row, told))
                    return
                self.acknowledged.append((kind, row["day"]))
                self.open = None
        except (OSError, http.client.HTTPException):
            pass  # killed: whether the last write was done is not known to its clerk
        finally:
            line.close()


class Office:
    """A ledger with clerks at work on it, and files brought in beside them."""

    def __init__(self, url, born, folder, seed, token=None):
        self.url, self.born, self.folder, self.rng = url, born, folder, random.Random(seed)
        engine = open_engine(url)
        with Session(engine) as session, session.begin():
            fleet(session, aircraft=2 * CLERKS, brakes=2 * CLERKS + 1)
        engine.dispose()
        token = token or token_for(url)
        self.clerks = [Clerk(number, token) for number in range(1, CLERKS + 1)]
        self.newcomers = [Clerk(number, token) for number in range(CLERKS + 1, 2 * CLERKS + 1)]

    @contextmanager
    def working(self, address, clerks=()):
        stop = threading.Event()
        threads = [
            threading.Thread(target=clerk.work, args=(address, stop)) for clerk in clerks or self.clerks
        ]
        for thread in threads:
            thread.start()
        yield
        stop.set()
        for thread in threads:
            thread.join()

    def bring_in(self, number):
        """Start an import of its own bases."""
        folder = self.folder / str(number)
        folder.mkdir()
        with (folder / "bases.csv").open("w", newline="") as file:
            csv.writer(file).writerows([["base"], *([f"F{number}-{each}"] for each in range(BATCH))])
        return self.born.start("import", str(folder), "--db", self.url, "--person", "ann")

    def round(self, number):
        """Let everybody work, kill the service and the import at some moment, each at its own."""
        serving, address = self.born.serve(self.url)
        with self.working(address):
            importing = self.bring_in(number)
            self.wait_for_work()
            time.sleep(self.rng.uniform(0.0, 0.5))
            kill(serving)
            if self.rng.random() < 0.3:
                wait(importing)
            time.sleep(self.rng.uniform(0.0, 0.3))
            kill(importing)

    def wait_for_work(self):
        """Until something more was acknowledged, so that each kill falls among writes."""
        before, began = self.entries, time.monotonic()
        while self.entries < before + CLERKS and time.monotonic() < began + 20:
            time.sleep(0.005)

    @property
    def entries(self):
        return sum(len(clerk.acknowledged) for clerk in self.clerks)

    @property
    def faults(self):
        return [fault for clerk in (*self.clerks, *self.newcomers) for fault in clerk.faults]

    def finish(self):
        """Everybody learns what became of the last write."""
        serving, address = self.born.serve(self.url)
        with self.working(address):
            self.wait_for_work()
        kill(serving)

    def check(self, *, verified=True):
        assert self.faults == []
        engine = open_engine(self.url)
        with Session(engine) as session:
            if verified:
                verify(session, rebuild=True)
            for kind, model, named in (
                ("landings", Landing, Landing.aircraft),
                ("pin-readings", PinReading, PinReading.brake),
            ):
                kept = session.execute(
                    select(named, model.day, func.count()).group_by(named, model.day)
                ).all()
                assert {count for *_, count in kept} <= {1}
                days = sorted(str(day) for _, day, _ in kept)
                told = sorted(
                    day
                    for clerk in (*self.clerks, *self.newcomers)
                    for of, day in clerk.acknowledged
                    if of == kind
                )
                assert not Counter(told) - Counter(days)
            loads = Counter(
                base.split("-")[0]
                for base in session.scalars(select(BaseStation.base))
                if base.startswith("F")
            )
            assert set(loads.values()) <= {BATCH}
            assert session.scalar(select(func.count()).select_from(Aircraft)) == 2 * CLERKS
        engine.dispose()
        return self.entries, len(loads)


@pytest.mark.parametrize(
    ("kind", "rounds"),
    [
        ("sqlite", 2),
        ("postgresql", 2),
        pytest.param("sqlite", 200, marks=pytest.mark.long),
        pytest.param("postgresql", 100, marks=pytest.mark.long),
    ],
)
def test_a_service_that_is_killed_loses_nothing_acknowledged(kind, rounds, born, request, tmp_path):
    seed = 20261125 + rounds
    office = Office(request.getfixturevalue(f"{kind}_url"), born, tmp_path, seed)
    for number in range(rounds):
        office.round(number)
        office.check(verified=number % 10 == 0)
    office.finish()
    entries, loads = office.check()
    assert entries > 0
    told = f"{entries} acknowledged entries all there, {loads} imports whole"
    print(f"{kind}: killed {rounds} times (seed {seed}), {told}")  # noqa: T201


@pytest.mark.long
def test_a_database_server_that_is_killed_loses_nothing_acknowledged(born, tmp_path):
    seed = 20261125
    with postgresql("-c max_connections=60") as server:
        with psycopg.connect(server.url.format("postgres"), autocommit=True) as connection:
            connection.execute("CREATE DATABASE ledger")
        url = server.url.format("ledger")
        migrate(url)
        office = Office(url, born, tmp_path, seed)
        serving, address = born.serve(url)
        back = []
        for number in range(10):
            with office.working(address):
                importing = office.bring_in(number)
                time.sleep(office.rng.uniform(0.3, 2.0))
                server.kill()
                began = time.monotonic()
                server.start()
                back.append(time.monotonic() - began)
                time.sleep(0.5)
            wait(importing)
            office.check()
        with office.working(address):
            time.sleep(1.0)
        kill(serving)
        entries, loads = office.check()
        print(  # noqa: T201
            f"server killed 10 times (seed {seed}), {entries} acknowledged entries all there, {loads} imports whole, "
            f"back in {max(back):.1f} s at most"
        )


# Servers and load of minutes: with the long forms, so that the normal run stays short.
pytestmark = pytest.mark.long
