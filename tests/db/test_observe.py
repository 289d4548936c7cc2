"""What the arithmetic reads, against plain filters over the facts, on both databases."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import select

from db.chain import Act, append
from db.lookup import Known, known_by
from db.observe import last_effective_day, observe, observe_assumptions
from db.records.brakes import Brake, Deactivation, Installation, Removal, ShopVisit
from db.records.economics import AssumptionEntry
from db.records.fleet import Aircraft, AircraftChange, AircraftType, BaseStation, BrakeType, WearLimit
from db.records.readings import CounterChange, Landing, PinReading, Ruling
from lifecycle.observations import COLUMNS

ACT = Act("tester", "test", "add")
DAY = dt.date(2025, 3, 1)
FAR = dt.date(2026, 1, 1)


def days(number):
    return DAY + dt.timedelta(number)


def add(session, model, **values):
    """Append one fact; its record number."""
    values = {"known_on": DAY} | values
    return append(session, ACT, [(model, [values])]).records[0][0]


def correct(session, model, record, version=2, **values):
    """Append another version of a fact."""
    return add(session, model, fact=record, supersedes=record, version=version, **values)


@pytest.fixture
def fleet(session):
    """One aircraft of four positions with two brakes to fit; record numbers by name."""
    base = add(session, BaseStation, base="HOME", name="Home", kind="line")
    other = add(session, BaseStation, base="AWAY", name=None, kind=None)
    craft_type = add(session, AircraftType, aircraft_type="twin", positions="1;2;3;4", position_groups=None)
    brake_type = add(session, BrakeType, brake_type="BT-1", material="steel", new_pin_mm=40.0)
    aircraft = add(session, Aircraft, registration="QQ-A", aircraft_type=craft_type, base=base)
    brakes = [add(session, Brake, brake_type=brake_type, serial=f"S{number}") for number in (1, 2)]
    return {
        "base": base,
        "other": other,
        "craft_type": craft_type,
        "brake_type": brake_type,
        "aircraft": aircraft,
        "brakes": brakes,
    }


def seen(session, name, *, on=FAR, known=None):
    return getattr(observe(session, on=on, known=known or known_by(session, FAR)), name)


def landing(session, fleet, day, full_stops=3, **values):
    return add(session, Landing, aircraft=fleet["aircraft"], day=day, full_stops=full_stops, **values)


def reading(session, fleet, day, pin_mm=30, state="accepted", **values):
    pins = {"pins": str(pin_mm), "unit": "mm", "convention": "left", "pin_nm": pin_mm * 10**6}
    return add(
        session,
        PinReading,
        brake=fleet["brakes"][0],
        day=day,
        resolution_nm=100_000,
        state=state,
        **pins,
        **values,
    )


def test_every_frame_has_its_declared_columns_even_in_an_empty_ledger(session):
    records = observe(session, on=FAR, known=Known(0, FAR))
    for name, columns in COLUMNS.items():
        assert list(getattr(records, name).columns) == list(columns)
        assert getattr(records, name).empty


def test_references_are_told_by_name_and_lists_are_split(session, fleet):
    record = landing(session, fleet, DAY, base=fleet["other"])
    records = observe(session, on=FAR, known=known_by(session, FAR))
    assert records.landings.iloc[0][["record", "aircraft", "base"]].tolist() == [
        record,
        fleet["aircraft"],
        "AWAY",
    ]
    assert records.aircraft.iloc[0][["aircraft_type", "base", "msn"]].tolist() == ["twin", "HOME", ""]
    assert records.aircraft_types.iloc[0]["positions"] == ("1", "2", "3", "4")
    assert records.aircraft_types.iloc[0]["position_groups"] == ()
    assert records.brakes["brake_type"].tolist() == ["BT-1", "BT-1"]


def test_what_is_dated_after_the_day_has_not_happened(session, fleet):
    for number in range(4):
        landing(session, fleet, days(number))
        reading(session, fleet, days(number))
    records = observe(session, on=days(1), known=known_by(session, FAR))
    assert len(records.landings) == len(records.pin_readings) == 2


def test_a_removal_after_the_day_has_not_happened(session, fleet):
    brake, aircraft = fleet["brakes"][0], fleet["aircraft"]
    put_on = {"brake": brake, "aircraft": aircraft, "position": "1", "installed_on": DAY, "starts_as": "new"}
    stay = add(session, Installation, aircraft_landings=100, **put_on)
    add(session, Removal, installation=stay, removed_on=days(9), removal_reason="worn", aircraft_landings=140)
    before = seen(session, "installations", on=days(8)).iloc[0]
    after = seen(session, "installations", on=days(9)).iloc[0]
    assert pd.isna(before["removed_on"])
    assert before["removal_reason"] == ""
    assert np.isnan(before["aircraft_landings_off"])
    assert after["removed_on"] == pd.Timestamp(days(9))
    assert after[["removal_reason", "aircraft_landings_on", "aircraft_landings_off"]].tolist() == [
        "worn",
        100,
        140,
    ]


def test_a_period_total_counts_only_once_the_period_has_ended(session, fleet):
    landing(session, fleet, DAY, to_day=days(30), full_stops=90)
    assert seen(session, "landings", on=days(29)).empty
    assert seen(session, "landings", on=days(30))["full_stops"].tolist() == [90]


def test_a_brake_still_away_on_the_day_has_no_day_back_and_no_cost(session, fleet):
    brake, back = fleet["brakes"]
    visit = {"brake": brake, "sent_on": DAY, "back_on": days(20), "brake_back": back, "work": "overhaul"}
    add(session, ShopVisit, cost=9000.0, currency="EUR", **visit)
    add(session, Deactivation, brake=back, from_on=DAY, to_on=days(20))
    away = seen(session, "shop_visits", on=days(19)).iloc[0]
    assert pd.isna(away["back_on"])
    assert np.isnan(away["cost"])
    assert np.isnan(away["brake_back"])
    assert away["currency"] == ""
    assert seen(session, "shop_visits", on=days(20)).iloc[0]["cost"] == 9000
    assert pd.isna(seen(session, "deactivations", on=days(19)).iloc[0]["to_on"])


def test_a_correction_made_later_leaves_an_earlier_answer_as_it_was(session, fleet):
    first = landing(session, fleet, DAY)
    known = known_by(session, FAR)
    before = seen(session, "landings", known=known)
    correct(
        session, Landing, first, aircraft=fleet["aircraft"], day=DAY, full_stops=5
    )  # known_on is back-dated too
    landing(session, fleet, days(1))
    pd.testing.assert_frame_equal(seen(session, "landings", known=known), before)
    assert seen(session, "landings")["full_stops"].tolist() == [5, 3]


def test_what_was_written_down_later_was_not_known_before(session, fleet):
    landing(session, fleet, DAY, known_on=days(20))
    known = known_by(session, FAR)
    assert seen(session, "landings", known=Known(known.seq, days(19))).empty
    assert len(seen(session, "landings", known=Known(known.seq, days(20)))) == 1


def test_a_correction_that_moves_a_row_past_the_day_takes_it_away(session, fleet):
    first = reading(session, fleet, DAY)
    pins = {"pins": "30", "unit": "mm", "convention": "left", "pin_nm": 30_000_000, "resolution_nm": 100_000}
    moved = {"brake": fleet["brakes"][0], "day": days(9), "state": "accepted", **pins}
    correct(session, PinReading, first, **moved)
    assert seen(session, "pin_readings", on=days(5)).empty


def test_a_withdrawn_fact_is_gone(session, fleet):
    first = landing(session, fleet, DAY)
    correct(session, Landing, first, aircraft=fleet["aircraft"], day=DAY, full_stops=3, withdrawn=True)
    assert seen(session, "landings").empty


def test_a_ruling_decides_about_a_held_reading_from_when_it_is_known(session, fleet):
    held = reading(session, fleet, DAY, state="held")
    reading(session, fleet, days(1))
    add(session, Ruling, reading=held, state="refused", known_on=days(5))
    known = known_by(session, FAR)
    assert seen(session, "pin_readings")["state"].tolist() == ["refused", "accepted"]
    earlier = Known(known.seq, days(4))
    assert seen(session, "pin_readings", known=earlier)["state"].tolist() == ["held", "accepted"]


def test_an_aircraft_is_called_as_it_is_registered_on_the_day(session, fleet):
    add(session, AircraftChange, aircraft=fleet["aircraft"], from_on=days(5), new_registration="QQ-B")
    assert seen(session, "aircraft", on=days(4))["registration"].tolist() == ["QQ-A"]
    assert seen(session, "aircraft", on=days(5))["registration"].tolist() == ["QQ-B"]


def test_what_a_known_record_refers_to_is_known_in_its_first_version(session, fleet):
    late = {"brake_type": fleet["brake_type"], "serial": "S9", "known_on": days(50)}
    brake = add(session, Brake, **late)
    correct(session, Brake, brake, owner="later owner", **late)
    pins = {"pins": "30", "unit": "mm", "convention": "left", "pin_nm": 30_000_000, "resolution_nm": 100_000}
    add(session, PinReading, brake=brake, day=DAY, state="accepted", **pins)
    known = Known(known_by(session, FAR).seq, days(10))
    brakes = seen(session, "brakes", known=known).set_index("brake")
    assert brakes.loc[brake, ["serial", "owner", "brake_type"]].tolist() == ["S9", "", "BT-1"]


def limit(session, fleet, length, **values):
    told = {"brake_type": fleet["brake_type"], "convention": "left", "limit": str(length), "unit": "mm"}
    # Each from a day of its own: a second limit of one key from one day would be a correction of the first.
    since = DAY - dt.timedelta(days=30 - len(session.scalars(select(WearLimit.id)).all()))
    told |= {
        "limit_nm": length * 10**6,
        "at_limit": "off",
        "effective_on": since,
        "source": "invented manual",
    }
    return add(session, WearLimit, **(told | {"approved": True} | values))


def limits(session):
    return sorted((seen(session, "wear_limits")["limit_nm"] / 10**6).tolist())


def test_a_tighter_limit_counts_at_once_and_a_looser_one_only_when_approved(session, fleet):
    limit(session, fleet, 7)
    looser = limit(session, fleet, 6, approved=False)
    assert limits(session) == [7]
    limit(session, fleet, 8, approved=False)
    assert limits(session) == [7, 8]
    limit(session, fleet, 6, fact=looser, supersedes=looser, version=2)
    assert limits(session) == [6, 7, 8]


def test_a_tighter_limit_is_told_against_the_one_that_holds_in_its_place(session, fleet):
    limit(session, fleet, 8)
    limit(session, fleet, 6, weight_variant="HEAVY")
    limit(session, fleet, 7, weight_variant="HEAVY", approved=False)
    limit(session, fleet, 7, weight_variant="LIGHT", approved=False)
    assert limits(session) == [6, 7, 8]


def test_of_lengths_used_the_smaller_limit_is_tighter(session, fleet):
    limit(session, fleet, 30, convention="used")
    limit(session, fleet, 31, convention="used", approved=False)
    limit(session, fleet, 29, convention="used", approved=False)
    limit(session, fleet, 30, convention="used", approved=False, at_limit="allowed")
    assert limits(session) == [29, 30]


def test_a_change_of_a_limit_that_waits_leaves_the_approved_one_in_force(session, fleet):
    first = limit(session, fleet, 7)
    limit(session, fleet, 6, fact=first, supersedes=first, version=2, approved=False)
    assert limits(session) == [7]


def test_a_withdrawn_limit_counts_no_more(session, fleet):
    first = limit(session, fleet, 7)
    limit(session, fleet, 7, fact=first, supersedes=first, version=2, withdrawn=True)
    assert limits(session) == []


def test_a_limit_where_there_is_none_counts_at_once(session, fleet):
    limit(session, fleet, 7, approved=False)
    assert limits(session) == [7]


def assumption(session, name, value, *, approved=True, **values):
    told = {
        "name": name,
        "value": value,
        "unit": "EUR",
        "source": "invented",
        "dated": DAY,
        "approved": approved,
    }
    return add(session, AssumptionEntry, **(told | values))


def test_only_approved_assumptions_dated_by_the_day_count(session, fleet):
    first = assumption(session, "overhaul_cost", 9000.0, brake_type=fleet["brake_type"], low=8000.0)
    assumption(session, "overhaul_cost", 1.0, approved=False)
    assumption(session, "labour_rate", 80.0, dated=days(3))
    later = {"fact": first, "supersedes": first, "version": 2, "brake_type": fleet["brake_type"]}
    assumption(session, "overhaul_cost", 2.0, approved=False, **later)
    found = observe_assumptions(session, on=days(2), known=known_by(session, FAR))
    (only,) = found.items
    assert (only.name, only.value, only.unit, only.low, only.high) == (
        "overhaul_cost",
        9000,
        "EUR",
        8000,
        None,
    )
    assert (only.brake_type, only.base, only.dated, only.record) == ("BT-1", "", DAY, first)
    assert len(observe_assumptions(session, on=days(3), known=known_by(session, FAR)).items) == 2


def test_the_totals_of_a_replaced_counter_go_on_where_the_old_one_stood(session, fleet):
    brake, aircraft = fleet["brakes"][0], fleet["aircraft"]
    put_on = {
        "brake": brake,
        "aircraft": aircraft,
        "position": "1",
        "installed_on": days(4),
        "starts_as": "new",
    }
    add(session, Installation, aircraft_landings=6, **put_on)
    landing(session, fleet, DAY, total_landings=1000)
    landing(session, fleet, days(1), full_stops=2, touch_and_gos=1)
    add(session, CounterChange, aircraft=aircraft, day=days(2), counter=2, starts_at=0)
    landing(session, fleet, days(2), counter=2, total_landings=3)
    landing(session, fleet, days(3), counter=2, total_landings=6)
    reading(session, fleet, days(6), aircraft_landings=8)
    records = observe(session, on=FAR, known=known_by(session, FAR))
    totals = records.landings["total_landings"].tolist()
    assert totals[0::2] == [1000, 1006]
    assert np.isnan(totals[1])
    assert totals[3] == 1009
    assert records.installations["aircraft_landings_on"].tolist() == [1009]
    assert records.pin_readings["aircraft_landings"].tolist() == [1011]


def test_totals_of_a_counter_that_compares_with_nothing_later_are_not_known(session, fleet):
    put_on = {"brake": fleet["brakes"][0], "aircraft": fleet["aircraft"], "position": "1", "starts_as": "new"}
    add(session, Installation, installed_on=DAY, aircraft_landings=900, **put_on)
    add(session, CounterChange, aircraft=fleet["aircraft"], day=days(2), counter=2, starts_at=0)
    landing(session, fleet, days(2), counter=2, total_landings=3)
    records = observe(session, on=FAR, known=known_by(session, FAR))
    assert np.isnan(records.installations["aircraft_landings_on"].item())
    assert records.landings["total_landings"].tolist() == [3]


def test_the_last_effective_day_is_the_last_with_anything_on_record(session, fleet):
    assert last_effective_day(session, known_by(session, FAR)) is None
    reading(session, fleet, days(3))
    landing(session, fleet, days(1), to_day=days(7))
    known = known_by(session, FAR)
    assert last_effective_day(session, known) == days(7)
    assert last_effective_day(session, Known(known.seq - 1, FAR)) == days(3)
