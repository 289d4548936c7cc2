import datetime as dt

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from db.base import table_of
from db.chain import append
from db.fleet_on import brake_names, registrations_of, variants_on
from db.lookup import (
    NOT_FOUND,
    SEVERAL,
    Known,
    aircraft_by_registration,
    among,
    base_ids,
    brake_type_ids,
    brakes_by_serial,
    current,
    find_aircraft,
    find_brakes,
    known_by,
)
from db.records.brakes import Brake
from db.records.fleet import AircraftChange, BaseStation
from tests.ledger import ACT, TODAY

DAYS = [dt.date(2024, 1, number) for number in range(1, 6)]

# A new fact, or a new version of an earlier one (a correction or a withdrawal), known on a day that may lie back.
steps = st.lists(
    st.tuples(
        st.sampled_from(["new", "correct", "withdraw"]), st.integers(0, 20), st.sampled_from([*DAYS, None])
    ),
    min_size=1,
    max_size=12,
)


def take(session, step, number):
    act, which, known_on = step
    row = {"base": f"B{number}", "known_on": known_on}
    there = session.execute(current(BaseStation, withdrawn=True).order_by(BaseStation.fact)).all()
    if act != "new":
        last = there[which % len(there)]
        later = {"fact": last.fact, "version": last.version + 1, "supersedes": last.id}
        row |= later | {"base": last.base, "name": f"v{number}", "withdrawn": act == "withdraw"}
    append(session, ACT, [(BaseStation, [row])])


def answer(session, known):
    return session.execute(current(BaseStation, known).order_by(BaseStation.id)).all()


def plain_answer(session, known):
    """The slow plain reference: of what is known, each fact's last version, unless withdrawn."""
    rows = session.execute(select(table_of(BaseStation)).order_by(BaseStation.id)).all()
    known_rows = [row for row in rows if row.seq <= known.seq and row.known_on <= known.day]
    last = {row.fact: row for row in sorted(known_rows, key=lambda row: row.version)}
    return sorted((row for row in last.values() if not row.withdrawn), key=lambda row: row.id)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps)
def test_an_answer_as_known_then_does_not_change_when_later_changes_land(small_fleet, taken):
    with small_fleet.begin_nested() as trial:
        answers = {}
        for number, step in enumerate(taken):
            take(small_fleet, step, number)
            for known in (known_by(small_fleet), known_by(small_fleet, DAYS[number % len(DAYS)])):
                answers[known] = answer(small_fleet, known)
        for known, given_then in answers.items():
            assert answer(small_fleet, known) == given_then == plain_answer(small_fleet, known)
        trial.rollback()


def test_a_day_before_everything_knows_nothing(small_fleet):
    assert answer(small_fleet, known_by(small_fleet, dt.date(2000, 1, 1))) == []


def test_without_a_day_everything_is_known(small_fleet):
    known = known_by(small_fleet)
    assert known.day == TODAY
    assert len(answer(small_fleet, known)) == 1


def test_an_empty_ledger_is_known_too(session):
    assert known_by(session) == Known(0, dt.date.min)


def test_a_withdrawn_fact_is_found_only_when_asked_for(small_fleet):
    home = base_ids(small_fleet)["Home"]
    gone = {"base": "Home", "fact": home, "version": 2, "supersedes": home, "withdrawn": True}
    append(small_fleet, ACT, [(BaseStation, [gone])])
    assert base_ids(small_fleet) == {}
    assert len(small_fleet.execute(current(BaseStation, withdrawn=True)).all()) == 1


@pytest.fixture
def renamed(small_fleet):
    """ZZ-001 becomes ZZ-900 on 2024-03-01, and ZZ-002 takes over ZZ-001 on 2024-05-01."""
    one, two = (aircraft_by_registration(small_fleet, TODAY)[name] for name in ("ZZ-001", "ZZ-002"))
    changes = [
        {
            "aircraft": one,
            "from_on": dt.date(2024, 3, 1),
            "new_registration": "ZZ-900",
            "weight_variant": "HGW",
        },
        {"aircraft": two, "from_on": dt.date(2024, 5, 1), "new_registration": "ZZ-001"},
    ]
    append(small_fleet, ACT, [(AircraftChange, changes)])
    return small_fleet, one, two


def test_an_aircraft_is_found_by_the_registration_of_the_day(renamed):
    session, one, two = renamed
    names = pd.Series(["ZZ-001", "ZZ-900", "ZZ-900", "ZZ-001", "ZZ-001", "ZZ-5"])
    days = pd.to_datetime(
        ["2024-02-29", "2024-02-29", "2024-03-01", "2024-04-01", "2024-05-01", "2024-01-01"]
    )
    found = find_aircraft(session, names, pd.Series(days).astype("datetime64[s]"))
    assert found.tolist() == [one, NOT_FOUND, one, NOT_FOUND, two, NOT_FOUND]
    assert aircraft_by_registration(session, dt.date(2024, 6, 1)) == {"ZZ-900": one, "ZZ-001": two}
    assert registrations_of(session, [one]) == {one: "ZZ-900"}


def test_the_weight_variant_is_that_of_the_day(renamed):
    session, one, two = renamed
    days = pd.Series(pd.to_datetime(["2024-03-01", "2024-02-29", "2024-03-01"]))
    assert variants_on(session, pd.Series([one, one, two]), days).tolist() == ["HGW", "", ""]


def test_a_serial_that_repeats_needs_its_brake_type(small_fleet):
    other = {"serial": "S1", "brake_type": brake_type_ids(small_fleet)["BT-2"]}
    append(small_fleet, ACT, [(Brake, [other])])
    known = brakes_by_serial(small_fleet)
    found = find_brakes(small_fleet, pd.Series(["S1", "S1", "S2", "S9"]), pd.Series(["", "BT-2", "", ""]))
    assert found.tolist() == [SEVERAL, known["S1", "BT-2"], known["S2", "BT-1"], NOT_FOUND]
    assert brake_names(small_fleet, [found[1]]) == {found[1]: "S1 (BT-2)"}


def test_a_few_are_asked_for_and_of_many_everything_is_read():
    assert "IN" in str(among(Brake.id, range(900)))
    assert "IN" not in str(among(Brake.id, range(901)))
