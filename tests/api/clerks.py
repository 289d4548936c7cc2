"""Clerks at work on real servers: each a thread that enters, corrects and reads, and remembers what it was told."""

import contextlib
import datetime as dt
import http.client
import itertools
import json
import random
import subprocess
import sys
import threading
import time
import uuid
from collections import Counter, defaultdict
from dataclasses import dataclass, field

from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.form_guard import HEADER
from db.chain import append
from db.fleet_on import registrations_of
from db.lookup import aircraft_by_registration, current
from db.people import add_person
from db.records.readings import Landing
from db.session import Session, open_engine
from db.sessions import begin_session
from tests.ledger import ACT, fleet

SERVING = "import sys; from api.cli import main; sys.exit(main(sys.argv[1:]))"
FIRST = dt.date(2024, 1, 1)
SHARED = 10  # records that every clerk corrects


@contextlib.contextmanager
def served(url, *, processes, folder):
    """Addresses (host and port) of so many servers of one ledger; what they log goes to files of the folder."""
    with contextlib.ExitStack() as started:
        servers = []
        for number in range(processes):
            said = started.enter_context((folder / f"server_{number}.log").open("w"))
            command = [sys.executable, "-c", SERVING, "serve", "--db", url, "--port", "0"]
            server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=said, text=True)
            started.callback(server.wait, timeout=30)
            started.callback(server.terminate)
            servers.append(started.enter_context(server.stdout).readline().strip())
        yield [address.removeprefix("http://") for address in servers]


@dataclass
class Heard:
    """What all clerks were told: seconds by kind of request, statuses, and what was acknowledged."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    statuses: Counter[int] = field(default_factory=Counter)
    odd: list[str] = field(default_factory=list)
    landings: dict[tuple[str, str], int] = field(default_factory=dict)
    corrected: Counter[int] = field(default_factory=Counter)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def p95(self, kind=None):
        """The time within which 95 of 100 requests were answered."""
        every = sorted(itertools.chain(*(self.seconds.values() if kind is None else [self.seconds[kind]])))
        return every[int(0.95 * (len(every) - 1))]

    def told(self):
        """Each kind of request with its count, median and p95."""
        kinds = (
            f"{kind} {len(times)} x {sorted(times)[len(times) // 2]:.3f}/{self.p95(kind):.3f} s"
            for kind, times in sorted(self.seconds.items())
        )
        return (
            f"p95 {self.p95():.3f} s, median/p95: {', '.join(kinds)}; {dict(sorted(self.statuses.items()))}"
        )


@dataclass
class Clerk:
    """One clerk with one aircraft and one brake of their own, on one of the servers."""

    number: int
    secret: str
    address: str
    shared: list[int]
    heard: Heard
    chance: random.Random

    def __post_init__(self):
        self.days = (FIRST + dt.timedelta(days=n) for n in itertools.count(1))
        self.registration, self.serial = f"ZZ-{self.number:03d}", f"S{self.number}"

    def ask(self, kind, method, path, body=None, allowed=(200, 201), **headers):
        """Ask once; the answer's status, headers and JSON."""
        sent = {
            "Cookie": f"{PLAIN_COOKIE}={self.secret}",
            "Origin": f"http://{self.address}",
            HEADER: form_token_of(self.secret),
            "Content-Type": "application/json",
            "Idempotency-Key": str(uuid.uuid4()),
            **headers,
        }
        began = time.perf_counter()
        answer, text = self.sent(method, path, body, sent)
        # Busy: nothing was acknowledged, and the same request with the same key is sent again.
        for _ in range(60):
            if answer.status != 503:
                break
            self.heard.statuses[503] += 1
            time.sleep(1)
            answer, text = self.sent(method, path, body, sent)
        with self.heard.lock:
            if kind:
                self.heard.seconds[kind].append(time.perf_counter() - began)
            self.heard.statuses[answer.status] += 1
            if answer.status not in allowed:
                self.heard.odd.append(f"{method} {path}: {answer.status} {text[-900:]!r}")
        return answer, text

    def sent(self, method, path, body, headers):
        """One answer, on a line of its own: a server closes one that was idle for some seconds."""
        with contextlib.closing(http.client.HTTPConnection(self.address, timeout=300)) as line:
            line.request(method, path, json.dumps(body) if body is not None else None, headers)
            answer = line.getresponse()
            return answer, answer.read().decode()

    def begin(self):
        """Install the brake that this clerk reads, before anything is timed: a server's first answers are slow."""
        row = {"serial": self.serial, "registration": self.registration, "position": 1}
        self.ask("", "POST", "/api/v1/installations", row | {"installed_on": str(FIRST), "starts_as": "new"})

    def work(self):
        """One thing of a clerk's day."""
        self.chance.choices([self.land, self.read_pin, self.correct, self.look], [35, 15, 20, 30])[0]()

    def land(self):
        """Enter a day's landings, and remember them once they are acknowledged."""
        day, stops = str(next(self.days)), self.chance.randrange(1, 9)
        row = {"registration": self.registration, "day": day, "full_stops": stops}
        answer, _ = self.ask("landings", "POST", "/api/v1/landings", row)
        if answer.status == 201:
            self.heard.landings[self.registration, day] = stops

    def read_pin(self):
        """Enter a pin reading of the own brake."""
        day = str(next(self.days))
        row = {"serial": self.serial, "day": day, "pin_1": "49.9", "unit": "mm", "convention": "left"}
        self.ask("readings", "POST", "/api/v1/pin-readings", row)

    def correct(self):
        """Add one to a record that everybody corrects, from the version that was looked at."""
        number = self.chance.choice(self.shared)
        answer, text = self.ask("record", "GET", f"/api/v1/records/{number}")
        if answer.status != 200:
            return
        stops = int(json.loads(text)["values"]["full_stops"]) + 1
        values = {"reason": "one more was flown", "values": {"full_stops": stops}}
        match = {"If-Match": answer.headers["ETag"]}
        path = f"/api/v1/records/{number}"
        answer, _ = self.ask("correct", "PATCH", path, values, allowed=(200, 412), **match)
        if answer.status == 200:
            with self.heard.lock:
                self.heard.corrected[number] += 1

    def look(self):
        """Open a page."""
        pages = ["/brakes", f"/brakes?serial={self.serial}", "/corrections", "/held", "/account"]
        self.ask("pages", "GET", self.chance.choice(pages))


def make_ledger(url, clerks):
    """A fleet with an aircraft and a brake for each clerk; their sessions, and the records that all correct."""
    engine, now = open_engine(url), dt.datetime.now(dt.UTC)
    with Session(engine) as session, session.begin():
        fleet(session, aircraft=clerks + 1, brakes=clerks + 1)
        spare = aircraft_by_registration(session, FIRST)[f"ZZ-{clerks + 1:03d}"]
        rows = [
            {"aircraft": spare, "day": FIRST + dt.timedelta(days=n), "full_stops": 0, "counter": 1}
            for n in range(SHARED)
        ]
        shared = append(session, ACT, [(Landing, rows)]).records[0]
        secrets = []
        for n in range(1, clerks + 1):
            add_person(session, f"clerk {n}", "clerk", now=now)
            secrets.append(begin_session(session, f"clerk {n}", by="link", now=now))
    engine.dispose()
    return secrets, list(shared)


def at_work(clerks, *, pause, seconds=0, things=0):
    """
    All of them at once, for so many seconds or so many things each, with pauses of up to twice so many seconds.

    A thread that fails is told.
    """
    start = threading.Barrier(len(clerks))

    def day(clerk):
        try:
            clerk.begin()
            start.wait()
            until = time.monotonic() + seconds
            for done in itertools.count(1):
                # Before the first thing too: people do not all begin in the same moment.
                time.sleep(clerk.chance.uniform(0, 2 * pause))
                clerk.work()
                if time.monotonic() >= until and done >= things:
                    break
        except Exception as error:  # noqa: BLE001 - whatever it is, it is told and fails the test
            clerk.heard.odd.append(f"clerk {clerk.number}: {error!r}")

    threads = [threading.Thread(target=day, args=[clerk]) for clerk in clerks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def on_record(url):
    """Full stops of the landings that stand: by aircraft and day, and by record number."""
    engine = open_engine(url)
    with Session(engine) as session:
        found = session.execute(current(Landing)).all()
        names = registrations_of(session, [row.aircraft for row in found])
    engine.dispose()
    by_day = {(names[row.aircraft], str(row.day)): row.full_stops for row in found}
    return by_day, {row.fact: row.full_stops for row in found}
