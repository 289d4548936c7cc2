"""The key rule against a plain reading of it, and the entry of reference data on both databases."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from db.chain import Act
from db.entry.brakes import record_shop_visits
from db.entry.changes import record_aircraft_changes
from db.entry.economics import record_assumptions, record_flying_plan, record_orders
from db.entry.fleet import record_aircraft, record_effectivity, record_wear_limits
from db.entry.keyed import Resolved, sort_by_key
from db.errors import RowsRefusedError
from db.files import FILES
from db.imports import rows_from
from db.lookup import registrations
from db.records.brakes import Brake, ShopVisit
from db.records.economics import FlyingPlan
from db.records.fleet import Aircraft, AircraftChange, Effectivity, WearLimit
from lifecycle.assumptions import UNITS
from tests.db.conftest import TODAY

ACT = Act("ann", "form", "enter")


def rows(file, *entered):
    return rows_from(file, list(entered), today=TODAY)


def refused(record, *arguments):
    with pytest.raises(RowsRefusedError) as caught:
        record(*arguments)
    return [(error.row, error.column, error.rule) for error in caught.value.errors]


# The key rule.

DEACTIVATIONS = FILES["deactivations"]
COLUMNS = {"brake": "serial", "from_on": "from", "to_on": "to", "why": "reason"}
DAYS = [None, dt.date(2024, 1, 1), dt.date(2024, 1, 2)]
FACTS = st.tuples(
    st.integers(1, 3), st.sampled_from(DAYS[1:]), st.sampled_from(DAYS), st.sampled_from(["", "a", "b"])
)


def frame(facts, **more):
    brake, from_on, to_on, why = zip(*facts, strict=True) if facts else ((), (), (), ())
    columns = {
        "brake": np.array(brake, dtype="float64"),
        "from_on": np.array(from_on, dtype="datetime64[D]").astype("datetime64[s]"),
        "to_on": np.array(to_on, dtype="datetime64[D]").astype("datetime64[s]"),
        "why": pd.array(list(why), dtype="str"),
    }
    return pd.DataFrame(columns | more)


def plain_rule(entered, known):
    """What becomes of each row, one by one: new, same, completed or refused."""
    on_record = {(brake, day): [to_on, why] for brake, day, to_on, why in known}
    seen, fate = {}, []
    for brake, day, to_on, why in entered:
        key = (brake, day)
        if key in seen:
            above = seen[key]
            clash = (to_on and to_on != above[0]) or (why and why != above[1])
            fate.append("refused" if clash else "same")
            continue
        seen[key] = [to_on, why]
        if key not in on_record:
            fate.append("new")
            continue
        there = on_record[key]
        if (to_on and there[0] and to_on != there[0]) or (why and why != there[1]):
            fate.append("refused")
        else:
            fate.append("completed" if to_on and not there[0] else "same")
    return fate


@settings(max_examples=60, deadline=None)
@given(st.lists(FACTS, max_size=6), st.lists(FACTS, max_size=4, unique_by=lambda fact: fact[:2]))
def test_rows_are_sorted_as_a_plain_reading_of_the_key_rule_says(entered, known):
    numbers = np.arange(len(known), dtype="int64") + 10
    first = {"version": np.ones(len(known), dtype="int64"), "withdrawn": np.zeros(len(known), dtype=bool)}
    on_record = frame(known, id=numbers, fact=numbers, **first)
    table = frame(entered, row=np.arange(len(entered)) + 2)
    table["known_on"] = pd.NaT
    typed = table.rename(columns=COLUMNS)
    found = sort_by_key(Resolved(DEACTIVATIONS, typed, table, COLUMNS), on_record)
    fate = plain_rule(entered, known)
    at = {
        what: [row for row, fated in enumerate(fate, 2) if fated == what]
        for what in ("new", "completed", "refused")
    }
    assert found.new["row"].tolist() == at["new"]
    assert found.completed["row"].tolist() == at["completed"]
    assert sorted({error.row for error in found.errors}) == at["refused"]
    assert found.same == fate.count("same")
    there = dict(zip(numbers, known, strict=True))
    for row in found.completed.itertuples():
        brake, day, _, why = there[row.fact]
        assert (row.brake, row.from_on.date(), row.why, row.version, row.supersedes) == (
            brake,
            day,
            why,
            2,
            row.fact,
        )
        assert row.to_on.date() == entered[row.row - 2][2]


# Aircraft and their registrations.


def renamed(registration, day, new):
    return {"registration": registration, "from": day, "new_registration": new}


def test_registrations_may_change_twice_in_one_file_in_any_order(ledger):
    later = {"registration": "ZZ-EEE", "from": "2025-06-01", "status": "stored"}
    changes = (later, renamed("ZZ-DDD", "2025-05-01", "ZZ-EEE"), renamed("ZZ-AAB", "2025-01-01", "ZZ-DDD"))
    record_aircraft_changes(ledger, ACT, rows("aircraft_changes", *changes))
    number = ledger.scalars(select(Aircraft.fact).where(Aircraft.registration == "ZZ-AAB")).one()
    entered = (
        ledger.execute(select(AircraftChange).where(AircraftChange.from_on >= dt.date(2025, 1, 1)))
        .scalars()
        .all()
    )
    assert {change.aircraft for change in entered} == {number}
    assert len(entered) == 3


def test_a_renaming_entered_late_goes_between_those_on_record(ledger):
    record_aircraft_changes(ledger, ACT, rows("aircraft_changes", renamed("ZZ-AAC", "2024-02-01", "ZZ-MMM")))
    held = registrations(ledger, ["ZZ-AAC", "ZZ-MMM", "ZZ-CCC"])
    spans = {row.registration: (row.from_on.year, str(row.to_on.date())) for row in held.itertuples()}
    assert spans["ZZ-AAC"][1] == "2024-02-01"
    assert spans["ZZ-MMM"] == (2024, "2024-05-01")


def test_a_change_may_be_told_by_the_name_carried_on_its_day_or_until_then(ledger):
    record_aircraft_changes(ledger, ACT, rows("aircraft_changes", renamed("ZZ-AAB", "2025-01-01", "ZZ-DDD")))
    again = record_aircraft_changes(
        ledger, ACT, rows("aircraft_changes", renamed("ZZ-AAB", "2025-01-01", "ZZ-DDD"))
    )
    assert again.same == 1
    based = {"registration": "ZZ-DDD", "from": "2025-01-01", "base": "Works"}
    assert refused(record_aircraft_changes, ledger, ACT, rows("aircraft_changes", based)) == [
        (1, "base", "the record already there has none")
    ]


def test_an_old_registration_is_refused_with_the_name_of_that_day(ledger):
    entered = rows("aircraft_changes", {"registration": "ZZ-AAC", "from": "2024-08-01", "status": "sold"})
    with pytest.raises(RowsRefusedError) as caught:
        record_aircraft_changes(ledger, ACT, entered)
    assert caught.value.errors[0].suggestion == "on that day it was ZZ-CCC; write that, or check the day"


def test_a_registration_is_entered_once(ledger):
    again = {"registration": "ZZ-AAA", "msn": "0999", "aircraft_type": "Petrel"}
    assert refused(record_aircraft, ledger, ACT, rows("aircraft", again)) == [
        (1, "msn", "the record already there has 0101")
    ]


def test_effectivity_without_a_day_means_the_aircraft_that_carries_the_name_now(ledger):
    row = {"aircraft_type": "Petrel", "registration": "ZZ-CCC", "brake_type": "PL-100"}
    record_effectivity(ledger, ACT, rows("effectivity", row))
    number = ledger.scalars(select(Aircraft.fact).where(Aircraft.registration == "ZZ-AAC")).one()
    assert number in ledger.scalars(select(Effectivity.aircraft)).all()


# Limits, brakes, money.


def test_a_limit_is_kept_as_typed_and_counted_exactly(ledger):
    kept = ledger.execute(
        select(WearLimit.limit, WearLimit.unit, WearLimit.limit_nm, WearLimit.convention)
    ).all()
    assert ("0.100", "in", 2_540_000, "left") in kept
    assert ("45.25", "mm", 45_250_000, "used") in kept


def test_a_limit_needs_its_source(ledger):
    row = {"brake_type": "PL-100", "limit": "3", "effective_on": "2026-01-01", "source": ""}
    with pytest.raises(RowsRefusedError, match="a value is required"):
        record_wear_limits(ledger, ACT, rows("wear_limits", row), approved=True)


def test_a_serial_that_comes_back_is_of_the_type_sent_where_serials_repeat(ledger):
    visit = {
        "serial": "C-3",
        "sent_on": "2024-06-01",
        "back_on": "2024-06-20",
        "serial_back": "0017",
        "work": "overhaul",
    }
    record_shop_visits(ledger, ACT, rows("shop_visits", visit))
    back = ledger.scalars(select(ShopVisit.brake_back).where(ShopVisit.sent_on == dt.date(2024, 6, 1))).one()
    types = ledger.execute(
        select(Brake.brake_type, Brake.fact).where(Brake.serial.in_(["C-3", "0017"]))
    ).all()
    sent = ledger.scalars(select(Brake.brake_type).where(Brake.serial == "C-3")).one()
    assert (sent, back) in {tuple(row) for row in types}


def test_a_brake_may_go_to_the_shop_on_the_day_of_its_removal(ledger):
    visit = {"serial": "G-2", "sent_on": "2024-04-01", "work": "test"}
    assert record_shop_visits(ledger, ACT, rows("shop_visits", visit)).added == 1


def test_two_orders_of_one_day_differ_by_their_number(ledger):
    order = {"base": "North", "brake_type": "PL-100", "quantity": "3", "ordered_on": "2024-07-01"}
    first, second = (order | {"work_order": number} for number in "AB")
    assert record_orders(ledger, ACT, rows("orders", first, second)).added == 2
    assert record_orders(ledger, ACT, rows("orders", first | {"due_on": "2024-09-01"})).completed == 1


def test_a_plan_belongs_to_an_aircraft_or_to_a_base(ledger):
    kept = ledger.execute(select(FlyingPlan.aircraft, FlyingPlan.base, FlyingPlan.month)).all()
    assert sorted((row.aircraft is None, row.base is None) for row in kept) == [(False, True), (True, False)]
    more = {"base": "North", "month": "2027-05", "landings": "10"}
    assert record_flying_plan(ledger, ACT, rows("flying_plan", more, more)).same == 1


def test_every_known_assumption_is_taken_in_its_unit_and_refused_in_another(ledger):
    given = {"value": "0.5", "source": "invented", "dated": "2024-02-01"}
    right = [given | {"name": name, "unit": unit.replace("CUR", "EUR")} for name, unit in UNITS.items()]
    taken = record_assumptions(ledger, ACT, rows("assumptions", *right))
    assert (taken.added, taken.flags) == (len(UNITS), ())
    wrong = rows("assumptions", *(row | {"unit": "furlong"} for row in right))
    assert [column for _, column, _ in refused(record_assumptions, ledger, ACT, wrong)] == ["unit"] * len(
        UNITS
    )


@pytest.mark.parametrize(
    ("name", "advice"),
    [("overhal_cost", "write overhaul_cost if that is meant, or one of "), ("zzz", "write one of ")],
)
def test_an_assumption_that_the_calculations_do_not_know_is_refused_and_the_near_one_named(
    ledger, name, advice
):
    row = {"name": name, "value": "1", "unit": "EUR", "source": "invented", "dated": "2024-02-01"}
    with pytest.raises(RowsRefusedError) as refused:
        record_assumptions(ledger, ACT, rows("assumptions", row))
    (error,) = refused.value.errors
    assert (error.column, error.value, error.rule) == (
        "name",
        name,
        "is not a name that the calculations use",
    )
    assert error.suggestion == advice + ", ".join(sorted(UNITS))


@pytest.mark.parametrize(
    ("low", "high"), [("", ""), ("0.03", "0.03"), ("-1", "0.5"), ("", "0.9"), ("0.01", "")]
)
def test_a_range_may_touch_its_value_and_be_half_open(ledger, low, high):
    row = {"name": "discount_rate", "value": "0.03", "unit": "1", "low": low, "high": high}
    entered = rows("assumptions", row | {"source": "invented", "dated": "2024-02-01"})
    assert record_assumptions(ledger, ACT, entered).added == 1
