"""What the databases refuse by themselves, whoever writes: nothing on record changes, nothing is in two places."""

import pytest
from sqlalchemy import insert, text
from sqlalchemy.exc import DatabaseError, IntegrityError

from db.base import Fact, table_of
from db.chain import append
from db.checked import check_ledger
from db.conflicts import conflicts_in_words
from db.errors import ConflictError, LedgerError
from db.guards import guards_made
from db.lookup import aircraft_by_registration, base_ids, brakes_by_serial
from db.records.brakes import Installation, Occupancy
from db.records.economics import FlyingPlan
from db.records.fleet import BaseStation
from tests.ledger import ACT, TODAY

FACTS = sorted([model.__tablename__ for model in Fact.__subclasses__()])


def refused(session, statement):
    with pytest.raises(DatabaseError, match="append_only"), session.begin_nested():
        session.execute(text(statement))


@pytest.mark.parametrize("table", ["base", "change"])
def test_rows_on_record_are_neither_updated_nor_deleted(small_fleet, table):
    refused(small_fleet, f"UPDATE {table} SET seq = seq")
    refused(small_fleet, f"DELETE FROM {table}")


def test_every_fact_table_has_its_guards(small_fleet):
    if small_fleet.get_bind().dialect.name == "sqlite":
        found = small_fleet.execute(
            text("SELECT tbl_name FROM sqlite_master WHERE type = 'trigger'")
        ).scalars()
        guarded = [name for name in found if name in FACTS]
        assert {name for name in FACTS if guarded.count(name) < 2} == set()
    else:
        query = "SELECT DISTINCT event_object_table FROM information_schema.triggers WHERE event_manipulation = '{}'"
        for act in ("UPDATE", "DELETE"):
            assert set(FACTS) <= set(small_fleet.execute(text(query.format(act))).scalars())


def test_no_fact_on_record_is_changed_by_any_statement(ledger):
    """Every table of facts and the log, with rows in them."""
    ways = ["UPDATE {0} SET seq = seq", "DELETE FROM {0}"]
    if ledger.get_bind().dialect.name == "sqlite":
        ways += ["REPLACE INTO {0} SELECT * FROM {0}", "UPDATE OR REPLACE {0} SET seq = seq"]
    bare = {name for name in FACTS if not ledger.scalar(text(f"SELECT count(*) FROM {name}"))}
    # On SQLite a table without a row cannot be tried; that its guards are there is told above.
    assert bare <= {"ruling", "counter_change", "edition"}
    for table in {*FACTS, "change"} - bare:
        for way in ways:
            refused(ledger, way.format(table))


def test_every_table_with_a_key_has_the_guard_of_it(small_fleet):
    """All but pin readings, of which a brake may have several a day, and editions, told apart by their numbers."""
    if small_fleet.get_bind().dialect.name == "sqlite":
        query = "SELECT tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%one_record_a_key'"
    else:
        query = "SELECT event_object_table FROM information_schema.triggers WHERE trigger_name LIKE '%one_record_a_key'"
    assert {*small_fleet.execute(text(query)).scalars(), "pin_reading", "edition"} == set(FACTS)


def test_a_second_record_of_a_key_is_refused_whoever_writes(small_fleet):
    """Also as the later version of another record; not where the first has left the key or is withdrawn."""
    first, second = append(small_fleet, ACT, [(BaseStation, [{"base": "One"}, {"base": "Two"}])]).records[0]
    later = {"fact": second, "version": 2, "supersedes": second}
    for row in ({"base": "One"}, {"base": "One", **later}):
        with pytest.raises(ConflictError, match="entered the same record first"), small_fleet.begin_nested():
            append(small_fleet, ACT, [(BaseStation, [row])])
    append(
        small_fleet, ACT, [(BaseStation, [{"base": "Uno", "fact": first, "version": 2, "supersedes": first}])]
    )
    append(small_fleet, ACT, [(BaseStation, [{"base": "One", **later}])])
    assert {"One", "Uno"} <= set(base_ids(small_fleet))


def test_the_wholesale_ways_are_refused_too(small_fleet):
    if small_fleet.get_bind().dialect.name == "postgresql":
        for table in [*FACTS, "change"]:
            refused(small_fleet, f"TRUNCATE {table} CASCADE")
    else:
        refused(small_fleet, "REPLACE INTO base SELECT * FROM base")
        refused(small_fleet, "INSERT OR REPLACE INTO brake SELECT * FROM brake WHERE serial = 'S1'")


def test_a_second_correction_of_one_version_is_refused(small_fleet):
    first = append(small_fleet, ACT, [(BaseStation, [{"base": "New"}])]).records[0][0]
    correction = {"base": "New", "name": "N", "fact": first, "version": 2, "supersedes": first}
    append(small_fleet, ACT, [(BaseStation, [correction])])
    with pytest.raises(ConflictError, match="corrected that record first"), small_fleet.begin_nested():
        append(small_fleet, ACT, [(BaseStation, [correction])])
    with pytest.raises(ConflictError, match="corrected that record first"), small_fleet.begin_nested():
        append(small_fleet, ACT, [(BaseStation, [{**correction, "version": 3}])])


def test_two_blanks_are_the_same_key(small_fleet):
    home = base_ids(small_fleet)["Home"]
    plan = {"base": home, "month": TODAY.replace(2024, 1, 1), "landings": 10.0}
    append(small_fleet, ACT, [(FlyingPlan, [plan])])
    with pytest.raises(ConflictError, match="entered the same record first"), small_fleet.begin_nested():
        append(small_fleet, ACT, [(FlyingPlan, [{**plan, "landings": 20.0}])])
    append(small_fleet, ACT, [(FlyingPlan, [{**plan, "month": TODAY.replace(2024, 2, 1)}])])


@pytest.fixture
def place(small_fleet):
    """Write a row of occupancy past every check of the entry."""
    aircraft = aircraft_by_registration(small_fleet, TODAY)["ZZ-001"]
    brakes = brakes_by_serial(small_fleet)

    def write(serial, position, from_on, to_on=None):
        brake = brakes[serial, "BT-1"]
        days = {"from_on": TODAY.replace(2024, 1, from_on), "to_on": to_on and TODAY.replace(2024, 1, to_on)}
        spot = {"brake": brake, "aircraft": aircraft, "position": position}
        with small_fleet.begin_nested():
            made = {**spot, "installed_on": days["from_on"], "starts_as": "new"}
            number = append(small_fleet, ACT, [(Installation, [made])]).records[0][0]
            with conflicts_in_words():
                small_fleet.execute(insert(table_of(Occupancy)), {"installation": number, **spot, **days})
        return number

    return write


@pytest.mark.parametrize(
    "span", [(5, 15), (15, 16), (15, 25), (5, 25), (5, None), (10, 20), (19, None), (10, 11), (10, None)]
)
def test_no_overlap_in_a_position_or_of_a_brake(place, span):
    place("S1", "1", 10, 20)
    with pytest.raises(ConflictError, match="another brake is in that position"):
        place("S2", "1", *span)
    if span[0] != 10:
        with pytest.raises(ConflictError, match="that brake is in another position"):
            place("S1", "2", *span)


@pytest.mark.parametrize("span", [(5, 10), (20, 25), (20, None), (10, 10), (20, 20)])
def test_spans_that_only_meet_do_not_overlap(place, span):
    place("S1", "1", 10, 20)
    place("S2", "1", *span)


def test_an_open_span_leaves_no_room_after_it(place):
    place("S1", "1", 10)
    with pytest.raises(ConflictError):
        place("S2", "1", 25)
    place("S2", "1", 5, 10)


def test_moving_an_end_into_another_span_is_refused(place, small_fleet):
    first = place("S1", "1", 10, 20)
    place("S2", "1", 20, 30)
    with pytest.raises(IntegrityError, match="one_brake_a_position"), small_fleet.begin_nested():
        small_fleet.execute(text(f"UPDATE occupancy SET to_on = '2024-01-25' WHERE installation = {first}"))


def test_an_end_before_its_beginning_is_refused(place):
    with pytest.raises(IntegrityError):
        place("S1", "1", 20, 10)


def take_away_all(session):
    if session.get_bind().dialect.name == "postgresql":
        for table in [*FACTS, "change", "occupancy"]:
            session.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER USER"))
        session.execute(text("ALTER TABLE occupancy DROP CONSTRAINT one_brake_a_position"))
        return
    for name in guards_made("sqlite"):
        session.execute(text(f"DROP TRIGGER {name}"))


TAKEN_AWAY = {
    "sqlite": [
        ["DROP TRIGGER change_append_only_delete"],
        ["DROP TRIGGER occupancy_one_position_a_brake_update"],
        [
            "DROP TRIGGER base_append_only_delete",
            "CREATE TRIGGER base_append_only_delete BEFORE DELETE ON base WHEN 0 BEGIN SELECT RAISE(ABORT, 'no'); END",
        ],
    ],
    "postgresql": [
        ["DROP TRIGGER change_append_only ON change"],
        ["ALTER TABLE landing DISABLE TRIGGER landing_totals_never_fall"],
        ["ALTER TABLE base ENABLE REPLICA TRIGGER base_append_only"],
        ["ALTER TABLE occupancy DROP CONSTRAINT one_position_a_brake"],
        ["SET LOCAL session_replication_role = replica"],
        [
            "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END'"
        ],
        [
            "DROP TRIGGER base_append_only ON base",
            "CREATE TRIGGER base_append_only BEFORE DELETE ON base EXECUTE FUNCTION refuse_change()",
        ],
    ],
}


def test_a_guard_that_was_taken_away_switched_off_or_weakened_is_found(small_fleet):
    whole = check_ledger(small_fleet, (), rebuild=True)
    assert whole.guards == len(guards_made(small_fleet.get_bind().dialect.name)) > 50
    for ways in TAKEN_AWAY[small_fleet.get_bind().dialect.name]:
        savepoint = small_fleet.begin_nested()
        for statement in ways:
            small_fleet.execute(text(statement))
        with pytest.raises(LedgerError, match=r"lacks \d+ of its \d+ guards"):
            check_ledger(small_fleet, ())
        savepoint.rollback()
    take_away_all(small_fleet)
    with pytest.raises(LedgerError, match=r"and \d+ more"):
        check_ledger(small_fleet, (), rebuild=True)
