"""What was known at a point is answered the same for ever: random corrections, and writers at the same time."""

import datetime as dt
import random
import threading

import pytest
from sqlalchemy import select

from db import chain
from db.chain import Act
from db.entry.corrections import correct, withdraw
from db.entry.recorders import recorders
from db.errors import ConflictError, NotFoundError, RowsRefusedError
from db.imports.check import rows_from
from db.lookup import known_by
from db.observe import observe, observe_assumptions
from db.recorded import KINDS, read_record
from db.session import Session, reading
from db.studies import hash_at, seq_of
from db.verify import verify
from lifecycle.study import changeouts, open_study
from tests.ledger import ACT, TODAY, fleet, installation

WHY = Act("ann", "form", "correct", "a slip")
ON = dt.date(2024, 6, 1)
# What can be written over in a record of each kind, by a random choice.
VALUES = {
    "landings": lambda chance: {"full_stops": str(chance.randrange(9)), "day": a_day(chance)},
    "pin_readings": lambda chance: {"pin_1": f"{chance.uniform(20, 49):.1f}", "day": a_day(chance)},
    "installations": lambda chance: {"position": str(chance.randrange(1, 5)), "installed_on": a_day(chance)},
    "removals": lambda chance: {
        "removed_on": a_day(chance),
        "removal_reason": chance.choice(["worn", "leak"]),
    },
    "wear_limits": lambda chance: {"limit": f"{chance.uniform(1, 9):.2f}"},
    "aircraft": lambda chance: {"registration": f"ZZ-{chance.randrange(10, 99)}"},
    "brakes": lambda chance: {"serial": f"T{chance.randrange(10, 99)}"},
}


def a_day(chance):
    return (dt.date(2024, 1, 1) + dt.timedelta(chance.randrange(150))).isoformat()


def enter(session, kind, *entered):
    texts = [{name: str(value) for name, value in row.items()} for row in entered]
    return recorders(approved=True)[kind](session, ACT, rows_from(kind, texts, today=TODAY))


@pytest.fixture
def flown(engine):
    """A ledger on which two brakes have flown and been read."""
    with Session(engine) as session, session.begin():
        fleet(session)
        enter(
            session, "installations", installation("S1", 1, "2024-01-01"), installation("S2", 2, "2024-01-01")
        )
        enter(session, "installations", installation("S3", 3, "2024-01-01", removed_on="2024-03-01"))
        days = [(dt.date(2024, 1, 1) + dt.timedelta(n)).isoformat() for n in range(120)]
        enter(session, "landings", *({"registration": "ZZ-001", "day": day, "full_stops": 4} for day in days))
        wear = [
            {
                "serial": serial,
                "day": day,
                "pin_1": f"{50 - rate * n:.1f}",
                "unit": "mm",
                "convention": "left",
            }
            for serial, rate in (("S1", 0.04), ("S2", 0.05))
            for n, day in enumerate(days)
            if n and n % 20 == 0
        ]
        enter(session, "pin_readings", *wear)
        limit = {"brake_type": "BT-1", "limit": "5", "effective_on": "2020-01-01", "source": "invented"}
        enter(session, "wear_limits", limit)
    return engine


def observed(session, known):
    """All that the arithmetic reads, as bytes."""
    records = observe(session, on=ON, known=known)
    assumed = observe_assumptions(session, on=ON, known=known)
    return "".join([*(frame.to_csv() for frame in vars(records).values()), repr(assumed)]).encode()


def studied(session, known):
    """The forecasts of the study at that point, as bytes."""
    study = open_study(
        observe(session, on=ON, known=known),
        observe_assumptions(session, on=ON, known=known),
        on=ON,
        known_on=known.day,
        seed=1,
        number="S-TEST",
    )
    return repr(changeouts(study)).encode()


def corrected_at_random(session, chance):
    """Try one correction or withdrawal; whether it was let in."""
    kind = chance.choice(sorted(VALUES))
    number = chance.choice(session.scalars(select(KINDS[kind].fact).order_by(KINDS[kind].id)).all())
    record = read_record(session, number)
    try:
        with session.begin_nested():
            if chance.random() < 0.3:
                withdraw(session, WHY, number, version=record.tag)
            else:
                values = VALUES[kind](chance)
                correct(session, WHY, number, version=record.tag, values=values, today=TODAY)
    except (RowsRefusedError, ConflictError):
        return False
    return True


def answers_never_change(engine, *, steps, seed):
    chance, before = random.Random(seed), []
    with Session(engine) as session, session.begin():
        for _ in range(steps):
            known = known_by(session)
            before.append((known, observed(session, known)))
            corrected_at_random(session, chance)
        let_in = known_by(session).seq - before[0][0].seq
        assert let_in > steps / 4, f"only {let_in} of {steps} corrections were let in (seed {seed})"
        for known, answer in before:
            assert observed(session, known) == answer, f"what was known at {known} changed (seed {seed})"
        verify(session, rebuild=True)


def test_an_answer_as_known_then_never_changes(flown):
    answers_never_change(flown, steps=5, seed=7)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(10))
def test_an_answer_as_known_then_never_changes_in_many_histories(flown, seed):
    answers_never_change(flown, steps=100, seed=seed)


class Tomorrow(dt.datetime):
    """A clock a day ahead."""

    @classmethod
    def now(cls, tz=None):
        return super().now(tz) + dt.timedelta(days=1)


def test_what_is_entered_later_is_not_known_on_a_past_day_back_dated_or_not(flown, monkeypatch):
    with Session(flown) as session:
        then = known_by(session, TODAY)
        before = observed(session, then)
    monkeypatch.setattr(chain.dt, "datetime", Tomorrow)
    with Session(flown) as session, session.begin():
        late = {"registration": "ZZ-001", "day": "2024-05-01", "full_stops": 4}
        enter(session, "landings", {**late, "recorded_on": TODAY})
        assert known_by(session, TODAY) == then
        assert observed(session, known_by(session, TODAY)) == before
        now = known_by(session)
        assert (now.seq, now.day) == (then.seq + 1, TODAY + dt.timedelta(days=1))
        assert observed(session, known_by(session, TODAY, seq=now.seq)) != before, (
            "written down by then, they say"
        )
        assert known_by(session, seq=then.seq) == then
        assert known_by(session, TODAY - dt.timedelta(days=9)).seq == now.seq, (
            "before the ledger the records speak"
        )


def test_a_change_is_found_by_the_head_it_gave_the_log(flown):
    with Session(flown) as session:
        for seq in (1, known_by(session).seq):
            head = hash_at(session, seq)
            grouped = " ".join(head[at : at + 8] for at in range(0, len(head), 8))
            assert [seq_of(session, each) for each in (head, head[:12], grouped)] == [seq] * 3
        for wrong in (head[:11], "", "%" * 12, "0" * 12):
            with pytest.raises(NotFoundError, match="no one change of the log"):
                seq_of(session, wrong)


def the_same_under_load(engine, *, times, studies):
    with Session(reading(engine)) as session:
        known = known_by(session)
        first, study = observed(session, known), studied(session, known)
    done, written = threading.Event(), []

    def correct_on_and_on():
        chance = random.Random(3)
        while not done.is_set():
            with Session(engine) as session, session.begin():
                written.append(corrected_at_random(session, chance))
            done.wait(0.01)

    writer = threading.Thread(target=correct_on_and_on)
    writer.start()
    try:
        for count in range(times):
            with Session(reading(engine)) as session:
                assert observed(session, known) == first
                if count % (times // studies) == 0:
                    assert studied(session, known) == study
    finally:
        done.set()
        writer.join()
    assert any(written)


def test_eight_answers_under_load_are_the_same_bytes(flown):
    the_same_under_load(flown, times=8, studies=1)


@pytest.mark.long
def test_a_thousand_answers_under_load_are_the_same_bytes(flown):
    the_same_under_load(flown, times=1000, studies=50)
