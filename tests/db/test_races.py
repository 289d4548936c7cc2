"""Writers at the same moment, on both databases: one wins, the others are told so in words, the chain holds."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import select

from db.entry import installations
from db.entry.installations import record_installations
from db.entry.landings import record_landings
from db.errors import ConflictError, RowsRefusedError
from db.records.readings import Landing
from db.session import Session
from db.verify import verify
from tests.ledger import ACT, fleet, installation, rows

WRITERS = 8


@pytest.fixture
def race(engine):
    """Let each writer record its frame at the same moment; give what became of each."""
    with Session(engine) as session, session.begin():
        fleet(session, brakes=WRITERS + 1)

    def run(record, frames):
        start = threading.Barrier(len(frames))

        def write(frame):
            start.wait()
            try:
                with Session(engine) as session, session.begin():
                    return record(session, ACT, frame).added
            except (ConflictError, RowsRefusedError) as refusal:
                return str(refusal)

        with ThreadPoolExecutor(len(frames)) as pool:
            return list(pool.map(write, frames))

    yield run
    with Session(engine) as session:
        verify(session, rebuild=True)


def test_one_position_has_one_winner(race):
    frames = [rows("installations", installation(f"S{n}", 1, "2024-01-01")) for n in range(1, WRITERS + 1)]
    found = race(record_installations, frames)
    assert found.count(1) == 1
    told = [text for text in found if text != 1]
    assert all("in that position" in text or "is in ZZ-001 position 1" in text for text in told), told


def test_one_brake_has_one_place(race):
    frames = [
        rows("installations", installation("S1", n % 4 + 1, f"2024-01-{n + 1:02d}")) for n in range(WRITERS)
    ]
    assert race(record_installations, frames).count(1) == 1


def test_the_same_row_from_all_sides_is_kept_once(race):
    frames = [rows("installations", installation("S1", 1, "2024-01-01"))] * WRITERS
    found = race(record_installations, frames)
    assert found.count(1) == 1
    # Nobody is told where the brake is, as if it had to be removed from there first.
    told = [text for text in found if text not in (0, 1)]
    assert all("entered the same record first" in text for text in told), told


@pytest.mark.parametrize("url", ["postgresql"], indirect=True)
def test_who_looks_for_the_key_before_and_for_the_place_after_the_winner_is_told_so(race, monkeypatch):
    """The narrowest moment, held open: the winner writes between the two looks. SQLite lets no other writer begin."""
    frame = rows("installations", installation("S1", 1, "2024-01-01"))
    real, won = installations.refuse_clashes, []

    def late(named, new, *, closed):
        if not won:
            won.append("begun")
            won.append(race(record_installations, [frame]))
        real(named, new, closed=closed)

    monkeypatch.setattr(installations, "refuse_clashes", late)
    assert "entered the same record first" in race(record_installations, [frame])[0]
    assert won == ["begun", [1]]


def test_totals_never_fall_whoever_is_first(race, engine):
    totals = [100, 110, 105, 120, 90, 130, 125, 140]
    frames = [
        rows(
            "landings",
            {
                "registration": "ZZ-001",
                "day": f"2024-01-{n + 1:02d}",
                "full_stops": "",
                "total_landings": total,
            },
        )
        for n, total in enumerate(totals)
    ]
    assert 1 in race(record_landings, frames)
    with Session(engine) as session:
        kept = session.execute(select(Landing.total_landings).order_by(Landing.day)).scalars().all()
    assert kept == sorted(kept)
