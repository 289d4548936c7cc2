"""Many clerks at once on real servers: nothing acknowledged is lost, nobody meets a fault, nobody waits long."""

import random

import pytest

from db.session import Session, open_engine
from db.verify import verify
from tests.api.clerks import Clerk, Heard, at_work, make_ledger, on_record, served

SEED = 20261125
# SQLite has one writer at a time in any case; PostgreSQL is served by several processes.
PROCESSES = {"sqlite": 1, "postgresql": 3}


def work(url, folder, *, clerks, pause, **enough):
    """What all of them heard; checked against what is on record."""
    secrets, shared = make_ledger(url, clerks)
    heard = Heard()
    with served(url, processes=PROCESSES[url.partition(":")[0]], folder=folder) as addresses:
        at_work(
            [
                Clerk(n + 1, secret, addresses[n % len(addresses)], shared, heard, random.Random(SEED + n))
                for n, secret in enumerate(secrets)
            ],
            pause=pause,
            **enough,
        )
    print(f"{clerks} clerks, {enough}, seed {SEED}, {url.partition(':')[0]}: {heard.told()}")  # noqa: T201 - figures for DEVELOPERS.md
    assert not heard.odd, "\n".join(heard.odd)
    assert all('"level": "error"' not in each.read_text() for each in folder.glob("*.log"))
    by_day, by_number = on_record(url)
    assert heard.landings.items() <= by_day.items(), "what was acknowledged is on record"
    assert {number: heard.corrected[number] for number in shared} == {
        number: by_number[number] for number in shared
    }, "each correction counted on from the one before it"
    engine = open_engine(url)
    with Session(engine) as session:
        verify(session, rebuild=True)
    engine.dispose()
    return heard


def test_six_clerks_at_once_lose_nothing(url, tmp_path):
    heard = work(url, tmp_path, clerks=6, pause=0.0, things=3)
    assert heard.landings
    assert heard.corrected.total()


@pytest.mark.long
def test_fifty_clerks_at_once_lose_nothing_and_wait_less_than_a_second(url, tmp_path):
    """Each asks for something every eight seconds, hours of which is more than a clerk does."""
    heard = work(url, tmp_path, clerks=50, pause=8.0, seconds=60)
    assert heard.statuses[503] == 0
    assert heard.p95() < 1.0


@pytest.mark.long
def test_fifty_clerks_who_never_pause_lose_nothing(url, tmp_path):
    work(url, tmp_path, clerks=50, pause=0.0, things=10)


# Servers and load of minutes: with the long forms, so that the normal run stays short.
pytestmark = pytest.mark.long
