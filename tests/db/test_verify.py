"""Tampering with a ledger is found: bits flipped, rows changed, deleted, added or swapped, and a tail cut off."""

import datetime as dt
import random

import pytest
from sqlalchemy import Column, Enum, MetaData, String, func, select, text

from db.chain import append, change_hash, packed, unpacked
from db.entry.installations import record_installations
from db.entry.landings import record_landings
from db.errors import BrokenChainError
from db.records.fleet import BaseStation
from db.records.log import Change
from db.verify import FACTS, verify
from tests.ledger import ACT, installation, rows

SEED = 20261125


@pytest.fixture
def ledger(small_fleet):
    """Some moves and landings, so that every kind of table has rows to tamper with."""
    moves = [
        installation("S1", 1, "2024-01-01", removed_on="2024-03-01", removal_reason="worn"),
        installation("S2", 1, "2024-03-01"),
        installation("S3", 2, "2024-01-01"),
    ]
    record_installations(small_fleet, ACT, rows("installations", *moves))
    days = [
        {"registration": "ZZ-001", "day": f"2024-01-{n:02d}", "full_stops": n, "flight_hours": n / 7}
        for n in range(1, 9)
    ]
    record_landings(small_fleet, ACT, rows("landings", *days))
    return small_fleet


def unguarded(session):
    """Switch the guards off, as someone with the database in hand could; all of it is rolled back."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("SET LOCAL session_replication_role = replica"))
        return
    session.execute(text("PRAGMA defer_foreign_keys = ON"))
    for name in (
        session.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars().all()
    ):
        session.execute(text(f"DROP TRIGGER {name}"))


def test_an_untouched_ledger_verifies_and_says_how_much(ledger):
    found = verify(ledger, rebuild=True)
    assert found.facts == sum(
        ledger.execute(select(func.count()).select_from(table)).scalar_one() for table in FACTS.values()
    )
    assert verify(ledger, found, rebuild=True) == found


def test_an_anchor_of_an_earlier_day_still_holds(ledger):
    anchor = verify(ledger)
    append(ledger, ACT, [(BaseStation, [{"base": "Later"}])])
    assert verify(ledger, anchor).facts == anchor.facts + 1


def flip_body(session, rng):
    seq, body = rng.choice(session.execute(select(Change.seq, Change.body)).all())
    place, bit = rng.randrange(len(body)), 1 << rng.randrange(8)
    flipped = body[:place] + bytes([body[place] ^ bit]) + body[place + 1 :]
    session.execute(text("UPDATE change SET body = :body WHERE seq = :seq"), {"body": flipped, "seq": seq})


def flip_log_column(session, rng):
    seq = rng.choice(session.execute(select(Change.seq)).scalars().all())
    column = rng.choice(["hash", "previous", "person", "source", "act", "recorded_at"])
    value = session.execute(text(f"SELECT {column} FROM change WHERE seq = {seq}")).scalar_one()
    place = rng.randrange(len(value))
    other = value[:place] + chr(ord(value[place]) ^ 1) + value[place + 1 :]
    session.execute(text(f"UPDATE change SET {column} = :value WHERE seq = {seq}"), {"value": other})


def change_log_number(session, rng):
    seq = rng.choice(session.execute(select(Change.seq)).scalars().all())
    change = rng.choice(["facts = facts + 1", "recorded_on = '2020-01-01'"])
    session.execute(text(f"UPDATE change SET {change} WHERE seq = {seq}"))


def some_fact(session, rng):
    filled = [
        (table, number)
        for table in FACTS.values()
        for number in session.execute(select(table.c.id)).scalars()
    ]
    return rng.choice(filled)


def change_fact(session, rng):
    table, number = some_fact(session, rng)
    fixed = ("id", "fact", "supersedes")
    column = rng.choice([c for c in table.columns if c.name not in fixed and not isinstance(c.type, Enum)])
    before = session.execute(select(column).where(table.c.id == number)).scalar_one()
    kind = column.type.python_type
    other = {bool: not before, str: f"{before}x", dt.date: dt.date(2020, 2, 2)}.get(kind)
    other = (before or 0) + 1 if kind in (int, float) else other
    session.execute(table.update().where(table.c.id == number).values({column.name: other}))


def delete_fact(session, rng):
    table, number = some_fact(session, rng)
    session.execute(table.delete().where(table.c.id == number))


def double_fact(session, rng):
    table, number = some_fact(session, rng)
    row = dict(session.execute(select(table).where(table.c.id == number)).mappings().one())
    row |= {"id": 10_000, "fact": 10_000, "version": 9, "seq": rng.choice([row["seq"], 1, 99_999])}
    session.execute(table.insert(), row)


def delete_change(session, rng):
    seq = rng.choice(session.execute(select(Change.seq)).scalars().all())
    session.execute(text(f"DELETE FROM change WHERE seq = {seq}"))


def swap_changes(session, rng):
    one, other = rng.sample(session.execute(select(Change.seq)).scalars().all(), 2)
    for old, new in ((one, 10_000), (other, one), (10_000, other)):
        session.execute(text(f"UPDATE change SET seq = {new} WHERE seq = {old}"))


def cut_tail(session, rng):
    """Cut as a careful hand would: facts, changes and head all agree."""
    last = session.execute(select(func.max(Change.seq))).scalar_one() - rng.randrange(1, 4)
    for table in FACTS.values():
        session.execute(table.delete().where(table.c.seq > last))
    session.execute(text(f"DELETE FROM change WHERE seq > {last}"))
    session.execute(text("DELETE FROM occupancy WHERE installation NOT IN (SELECT id FROM installation)"))
    session.execute(
        text(
            "UPDATE chain_head SET (seq, hash, record) = "
            f"(SELECT seq, hash, (SELECT sum(facts) FROM change) FROM change WHERE seq = {last})"
        )
    )


def move_head(session, rng):
    session.execute(text(f"UPDATE chain_head SET {rng.choice(['seq', 'record'])} = 3"))


def move_brake(session, rng):
    change = rng.choice(["position = '4'", "from_on = '2023-12-31'", "to_on = '2024-02-28'"])
    session.execute(text(f"UPDATE occupancy SET {change} WHERE brake = (SELECT min(brake) FROM occupancy)"))


TAMPERINGS = [
    flip_body, flip_log_column, change_log_number, change_fact, delete_fact, double_fact,
    delete_change, swap_changes, cut_tail, move_head, move_brake,
]  # fmt: skip


@pytest.mark.parametrize("trials", [3, pytest.param(91, marks=pytest.mark.long)])
@pytest.mark.parametrize("tampering", TAMPERINGS, ids=lambda tampering: tampering.__name__)
def test_tampering_is_found(ledger, tampering, trials):
    """Seeded tamperings on both databases: 66 in the quick form, 2,002 in the long one."""
    anchor = verify(ledger)
    unguarded(ledger)
    for trial in range(trials):
        with ledger.begin_nested() as savepoint:
            tampering(ledger, random.Random(SEED + trial))
            with pytest.raises(BrokenChainError):
                verify(ledger, anchor, rebuild=True)
            savepoint.rollback()
    assert verify(ledger, anchor, rebuild=True) == anchor


def test_a_column_that_came_later_is_blank_in_what_was_written_before(ledger, monkeypatch):
    ledger.execute(text("ALTER TABLE base ADD COLUMN colour VARCHAR"))
    widened = FACTS["base"].to_metadata(MetaData())
    widened.append_column(Column("colour", String))
    monkeypatch.setitem(FACTS, "base", widened)
    verify(ledger, rebuild=True)
    unguarded(ledger)
    ledger.execute(text("UPDATE base SET colour = 'red'"))
    with pytest.raises(BrokenChainError):
        verify(ledger, rebuild=True)


def test_a_cut_tail_passes_without_an_anchor(ledger):
    whole = verify(ledger)
    unguarded(ledger)
    cut_tail(ledger, random.Random(SEED))
    assert verify(ledger, rebuild=True).facts < whole.facts


def rewrite(session, first, *, rehash):
    """Put another name into a change, log and column alike, and as many hashes as `rehash` right again."""
    changes = session.execute(select(Change.__table__).where(Change.seq >= first).order_by(Change.seq)).all()
    previous = changes[0].previous
    for place, change in enumerate(changes[: max(rehash, 1)]):
        body = unpacked(change.body).replace(b'"person":"ann"', b'"person":"eve"', 1 if place == 0 else 0)
        hash_ = change_hash(change.seq, previous, body) if place < rehash else change.hash
        values = {"body": packed(body), "previous": previous, "hash": hash_}
        values |= {"person": "eve"} if place == 0 else {}
        session.execute(Change.__table__.update().where(Change.seq == change.seq).values(values))
        previous = hash_
    if rehash >= len(changes):
        session.execute(text(f"UPDATE chain_head SET hash = '{previous}'"))


@pytest.mark.parametrize(("rehash", "where"), [(0, 3), (1, 4)])
def test_a_rewritten_change_breaks_its_own_link_or_the_next(ledger, rehash, where):
    unguarded(ledger)
    rewrite(ledger, 3, rehash=rehash)
    with pytest.raises(BrokenChainError) as caught:
        verify(ledger)
    assert caught.value.seq == where


def test_a_log_rewritten_to_its_end_is_found_by_its_anchor_alone(ledger):
    anchor = verify(ledger)
    unguarded(ledger)
    rewrite(ledger, 3, rehash=1_000)
    assert verify(ledger, rebuild=True).facts == anchor.facts
    with pytest.raises(BrokenChainError, match="rewritten"):
        verify(ledger, anchor)


@pytest.mark.parametrize(
    "column", ["hash", "previous", "person", "source", "act", "recorded_at", "recorded_on", "facts"]
)
def test_every_column_of_the_log_is_compared(ledger, column):
    unguarded(ledger)
    other = {"recorded_on": "2020-01-01", "facts": 99}.get(column, "0" * 64)
    ledger.execute(text(f"UPDATE change SET {column} = '{other}' WHERE seq = 4"))
    with pytest.raises(BrokenChainError) as caught:
        verify(ledger)
    assert caught.value.seq == 4


def test_the_first_broken_sequence_number_is_named(ledger):
    unguarded(ledger)
    ledger.execute(text("UPDATE change SET person = 'eve' WHERE seq IN (4, 6)"))
    with pytest.raises(BrokenChainError) as caught:
        verify(ledger)
    assert caught.value.seq == 4


def test_a_missing_change_is_named(ledger):
    unguarded(ledger)
    ledger.execute(text("DELETE FROM change WHERE seq = 4"))
    with pytest.raises(BrokenChainError, match="missing") as caught:
        verify(ledger)
    assert caught.value.seq == 4
