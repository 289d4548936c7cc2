"""Whose bases a write touched: its own records', whatever others write meanwhile."""

import pytest

from db.based import bases_of, bases_written
from db.chain import Act, append
from db.entry.landings import record_landings
from db.lookup import aircraft_type_ids, known_by
from db.records.fleet import Aircraft, AircraftChange, BaseStation
from tests.ledger import ACT, TODAY, rows


@pytest.fixture
def craft(small_fleet):
    """Two aircraft, at North and at South until the second moves to North."""
    names = [{"base": name} for name in ("North", "South")]
    north, south = append(small_fleet, ACT, [(BaseStation, names)]).records[0]
    twin = aircraft_type_ids(small_fleet)["twin"]
    made = [
        {"registration": name, "aircraft_type": twin, "base": base}
        for name, base in (("ZY-N", north), ("ZY-S", south))
    ]
    numbers = append(small_fleet, ACT, [(Aircraft, made)]).records[0]
    moved = {"aircraft": numbers[1], "from_on": TODAY.replace(2024, 6, 1), "base": north}
    append(small_fleet, ACT, [(AircraftChange, [moved])])
    return small_fleet, numbers


def test_what_others_enter_meanwhile_is_not_this_persons(craft):
    session, _ = craft
    before = known_by(session).seq
    for person, registration in (("ann", "ZY-N"), ("bea", "ZY-S"), ("ann", "ZY-N")):
        day = "2024-01-02" if person == "bea" else f"2024-01-0{3 + known_by(session).seq - before}"
        row = {"registration": registration, "day": day, "full_stops": 4}
        record_landings(session, Act(person, "form", "enter"), rows("landings", row))
    day = TODAY.replace(2024, 2, 1)
    assert bases_written(session, "ann", before, on=day) == {"North"}
    assert bases_written(session, "bea", before, on=day) == {"South"}
    assert bases_written(session, "cat", before, on=day) == set()


def test_landings_belong_where_the_aircraft_is_on_the_day(craft):
    session, _ = craft
    row = {"registration": "ZY-S", "day": "2024-01-02", "full_stops": 4}
    (entered,) = record_landings(session, ACT, rows("landings", row)).records
    for day, base in ((TODAY.replace(2024, 5, 31), "South"), (TODAY.replace(2024, 6, 1), "North")):
        assert bases_of(session, "landings", [entered.record], on=day) == {base}
    assert bases_of(session, "brakes", [10**9], on=TODAY) == {""}
