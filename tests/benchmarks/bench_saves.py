"""
CPU and statements of one save of each kind: `python tests/benchmarks/bench_saves.py [--server URL] [--profile KIND]`.

Printed beside a plain rival: as many rows put into a bare table by one INSERT in one transaction with the same commit.
Without a URL a SQLite file in a temporary folder is used; on PostgreSQL the CPU is the service's own, and the database
has to be empty. The fleet is invented. `--profile` tells where the time of one kind goes.
"""

import argparse
import cProfile
import datetime as dt
import itertools
import pstats
import re
import statistics
import sys
import tempfile
import threading
import time
import uuid
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

from fastapi.testclient import TestClient
from sqlalchemy import Column, Date, Integer, MetaData, String, Table, event, func, insert, select

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))
# A package of another project is installed under this name; ours is the folder.
sys.modules["tests"] = ModuleType("tests")
sys.modules["tests"].__path__ = [str(ROOT / "tests")]

from api.app import make_app  # noqa: E402 - found by the lines above
from api.caller import form_token_of  # noqa: E402 - the same
from api.callers import PLAIN_COOKIE  # noqa: E402 - the same
from api.form_guard import FIELD, HEADER  # noqa: E402 - the same
from api.settings import Settings  # noqa: E402 - the same
from db.chain import append  # noqa: E402 - the same
from db.entry.installations import record_installations  # noqa: E402 - the same
from db.entry.landings import record_landings  # noqa: E402 - the same
from db.entry.readings import record_pin_readings  # noqa: E402 - the same
from db.people import add_person  # noqa: E402 - the same
from db.records.brakes import Brake  # noqa: E402 - the same
from db.records.fleet import Aircraft, AircraftType, BaseStation, BrakeType, Effectivity  # noqa: E402 - the same
from db.records.readings import Landing  # noqa: E402 - the same
from db.schema import migrate  # noqa: E402 - the same
from db.session import Session, open_engine  # noqa: E402 - the same
from db.sessions import begin_session  # noqa: E402 - the same
from tests.ledger import ACT, installation, rows  # noqa: E402 - the same

FIRST = dt.date(2026, 1, 1)
FLOWN = 120  # days on record before the first save
CRAFT = [f"ZZ-{number:03d}" for number in range(1, 13)]
POSITIONS = [str(number) for number in range(1, 9)]
TIMES = 7  # saves of each kind; the median is told
WARM = 2  # saves before them, whose statements are compiled for the first time


@dataclass(frozen=True)
class Cost:
    """What one save took: seconds of CPU, and statements."""

    seconds: float
    statements: int


def make_ledger(url):
    """Twelve aircraft at one base with months of landings, eight brakes read on the first, and spare ones."""
    migrate(url)
    engine = open_engine(url)
    with Session(engine) as session, session.begin():
        base = append(session, ACT, [(BaseStation, [{"base": "Field"}])]).records[0][0]
        kind = {"aircraft_type": "eight", "positions": ";".join(POSITIONS)}
        eight = append(session, ACT, [(AircraftType, [kind])]).records[0][0]
        made = {"brake_type": "BT-1", "material": "carbon", "pins": 1, "new_pin_mm": 50.0}
        brake = append(session, ACT, [(BrakeType, [made])]).records[0][0]
        append(session, ACT, [(Effectivity, [{"aircraft_type": eight, "brake_type": brake, "mix": "none"}])])
        craft = [{"registration": name, "aircraft_type": eight, "base": base} for name in CRAFT]
        append(session, ACT, [(Aircraft, craft)])
        serials = [f"S-{number:04d}" for number in range(1, 101)]
        append(session, ACT, [(Brake, [{"serial": serial, "brake_type": brake} for serial in serials])])
        there = [
            installation(serial, place, str(FIRST)) for serial, place in zip(serials, POSITIONS, strict=False)
        ]
        record_installations(session, ACT, rows("installations", *there))
        days = [str(FIRST + dt.timedelta(days=number)) for number in range(FLOWN)]
        flown = [{"registration": name, "day": day, "full_stops": 4} for day in days for name in CRAFT]
        record_landings(session, ACT, rows("landings", *flown))
        read = {"unit": "mm", "convention": "left"}
        told = [
            {"serial": serial, "day": day, "pin_1": f"{50 - at / 50:.1f}", **read}
            for at, day in list(enumerate(days))[10::20]
            for serial in serials[:8]
        ]
        record_pin_readings(session, ACT, rows("pin_readings", *told))
        add_person(session, "cle", "clerk", now=dt.datetime.now(dt.UTC))
        secret = begin_session(session, "cle", by="link", now=dt.datetime.now(dt.UTC))
    engine.dispose()
    return secret


class Saves:
    """One save of each kind after the other, each with things of its own, in a clerk's name."""

    def __init__(self, url, secret):
        token = form_token_of(secret)
        self.client = TestClient(
            make_app(Settings(db=url, secure_cookie=False)),
            cookies={PLAIN_COOKIE: secret},
            headers={"Origin": "http://testserver", HEADER: token},
            follow_redirects=False,
        )
        self.token, self.days = token, (FIRST + dt.timedelta(days=n) for n in itertools.count(FLOWN))
        self.fitted, self.spare = ["S-0001", "S-0002"], itertools.count(9)
        self.orders, self.shared = itertools.count(1), 0

    def form(self, **typed):
        return {**typed, FIELD: self.token, "write_key": str(uuid.uuid4())}

    def sheet(self):
        """A landings sheet of twelve lines."""
        day = str(next(self.days))
        page = self.client.get("/landings", params={"base": "Field", "day": day}).text
        typed = dict.fromkeys(re.findall(r'name="(full_stops-\d+)"', page), "3")
        typed |= dict(re.findall(r'name="((?:key|seen)-\d+)" value="([^"]*)"', page))
        form = self.form(base="Field", day=day, asks="count", **typed)
        return lambda: self.client.post("/landings", data=form), 303

    def landing(self):
        """One landing by JSON."""
        row = {"registration": CRAFT[0], "day": str(next(self.days)), "full_stops": 3}
        return self.json("POST", "/api/v1/landings", row), 201

    def check(self):
        """A wear check of eight brakes."""
        day = str(next(self.days))
        told = {f"pin-{at}-0": "46.0" for at in range(8)}
        head = {"aircraft": CRAFT[0], "day": day, "unit": "mm", "convention": "left"}
        # As the page does when it is opened: what is expected is worked out before anything is typed.
        self.client.get("/pin-readings", params={"aircraft": CRAFT[0], "day": day})
        form = self.form(**head, cold="yes", applied="yes", **told)
        return lambda: self.client.post("/pin-readings", data=form), 303

    def move(self):
        """A move of two brakes off and two on."""
        on = [f"S-{next(self.spare):04d}", f"S-{next(self.spare):04d}"]
        typed = {"registration": CRAFT[0], "positions": "1;2", "day": str(next(self.days)), "act": "record"}
        for at, (gone, come) in enumerate(zip(self.fitted, on, strict=True)):
            typed |= {f"off-{at}": gone[-4:], f"reason-{at}": "worn", f"goes-{at}": "shop:overhaul"}
            typed |= {f"on-{at}": come[-4:], f"start-{at}": "new"}
        form, self.fitted = self.form(work_order=f"WO-{next(self.orders)}", **typed), on
        return lambda: self.client.post("/moves", data=form), 303

    def correction(self):
        """One correction of a landing."""
        row = {"registration": CRAFT[0], "day": str(next(self.days)), "full_stops": 3}
        self.json("POST", "/api/v1/landings", row)()
        number = self.newest()
        tag = self.client.get(f"/api/v1/records/{number}").headers["ETag"]
        asked = {"reason": "one more", "values": {"full_stops": 4}}
        return self.json("PATCH", f"/api/v1/records/{number}", asked, **{"If-Match": tag}), 200

    def replay(self):
        """The same key again: what every write costs before its own work."""
        row, key = {"registration": CRAFT[1], "day": str(next(self.days)), "full_stops": 3}, str(uuid.uuid4())
        again = self.json("POST", "/api/v1/landings", row, **{"Idempotency-Key": key})
        again()
        return again, 201

    def json(self, method, path, body, **headers):
        headers = {"Idempotency-Key": str(uuid.uuid4()), **headers}
        return lambda: self.client.request(method, path, json=body, headers=headers)

    def newest(self):
        """The record entered last."""
        with Session(self.client.app.state.engine) as session:
            return session.scalar(select(func.max(Landing.id)))


KINDS = {  # with the rows that each brings
    "landings sheet, 12 lines": (Saves.sheet, 12),
    "landing by JSON": (Saves.landing, 1),
    "wear check, 8 brakes": (Saves.check, 8),
    "move, 2 off and 2 on": (Saves.move, 6),
    "correction": (Saves.correction, 1),
    "the same key again": (Saves.replay, 0),
}


class Counter:
    """Counts the statements that an engine runs."""

    def __init__(self, engine):
        self.count = 0
        event.listen(engine, "before_cursor_execute", self.one_more)

    def one_more(self, *_):
        self.count += 1


def costs(saves, kind, counter, profile=None):
    """What each save of one kind took, those to warm up left out."""
    found = []
    for number in range(WARM + TIMES):
        act, wanted = KINDS[kind][0](saves)
        statements, began = counter.count, time.process_time()
        if profile and number >= WARM:  # the service works in threads of its own, begun for each request
            threading.setprofile(lambda *_: profile.enable())
        answer = act()
        threading.setprofile(None)
        found.append(Cost(time.process_time() - began, counter.count - statements))
        if answer.status_code != wanted:
            raise SystemExit(f"{kind}: {answer.status_code} {answer.text[:2000]}")
    return found[WARM:]


def rival_seconds(engine, count):
    """CPU of as many rows in a bare table, one INSERT and one commit."""
    bare = Table(
        "bench_bare",
        MetaData(),
        *(Column(name, Integer) for name in ("aircraft", "base", "full_stops", "version")),
        Column("day", Date),
        Column("note", String),
    )
    bare.metadata.create_all(engine)
    taken = []
    for number in range(WARM + TIMES):
        told = [
            {"aircraft": n, "base": 1, "full_stops": 3, "version": 1, "day": FIRST, "note": str(number)}
            for n in range(max(count, 1))
        ]
        began = time.process_time()
        with engine.begin() as connection:
            connection.execute(insert(bare), told)
        taken.append(time.process_time() - began)
    bare.metadata.drop_all(engine)
    return statistics.median(taken[WARM:])


def main():
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--server", metavar="URL")
    asked.add_argument("--profile", choices=KINDS)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url = options.server or f"sqlite:///{folder}/saves.db"
        saves = Saves(url, make_ledger(url))
        engine = saves.client.app.state.engine
        counter = Counter(engine)
        for kind in [options.profile] if options.profile else KINDS:
            profile = cProfile.Profile() if options.profile else None
            found = costs(saves, kind, counter, profile)
            taken, rival = (
                statistics.median(each.seconds for each in found),
                rival_seconds(engine, KINDS[kind][1]),
            )
            sys.stdout.write(
                f"{kind:26s} {1000 * taken:7.1f} ms of CPU {max(each.statements for each in found):5d} statements"
                f"  {taken / rival:6.0f} times one plain INSERT ({1000 * rival:.2f} ms)\n"
            )
            if profile:
                pstats.Stats(profile).sort_stats("cumtime").print_stats(
                    "main/(api|db|lifecycle)/|sqlalchemy/orm/session", 70
                )


if __name__ == "__main__":
    main()
