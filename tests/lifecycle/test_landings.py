"""Braked landings of an aircraft by day: what is typed, what totals say, what rejected take-offs weigh."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.landings import fly_days
from tests.builders import aircraft, aircraft_type, daily, event, landings, records
from tests.lifecycle.fleets import FIRST, iso

ON = dt.date(2024, 3, 31)


def by_day(*rows, on=ON, weight=0.0):
    """Braked landings of aircraft 1 by ISO day."""
    flown = fly_days(records(*rows), on, touch_and_go_weight=weight)
    days = (flown.key & ((1 << 20) - 1)) - (1 << 19)
    return dict(
        zip(days.astype("datetime64[D]").astype(str).tolist(), np.diff(flown.braked).tolist(), strict=True)
    )


def test_full_stops_count_and_touch_and_gos_count_by_their_weight():
    row = landings(1, "2024-01-01", 3, touch_and_gos=4)
    assert by_day(row) == {"2024-01-01": 3}
    assert by_day(row, weight=0.25) == {"2024-01-01": 4}


def test_a_blank_day_takes_the_difference_of_the_totals_around_it():
    rows = [
        landings(1, "2024-01-01", 2, total_landings=100),
        landings(1, "2024-01-02", None, total_landings=105),
        landings(1, "2024-01-03", 1, total_landings=106),
    ]
    assert by_day(*rows) == {"2024-01-01": 2, "2024-01-02": 5, "2024-01-03": 1}


def test_touch_and_gos_of_a_blank_day_are_taken_out_of_the_difference():
    rows = [
        landings(1, "2024-01-01", 2, total_landings=100),
        landings(1, "2024-01-02", None, total_landings=105, touch_and_gos=3),
    ]
    assert by_day(*rows) == {"2024-01-01": 2, "2024-01-02": 2}


def test_days_without_a_row_share_what_the_totals_count_beyond_the_rows():
    rows = [
        landings(1, "2024-01-01", 2, total_landings=100),
        landings(1, "2024-01-03", 4),
        landings(1, "2024-01-05", 1, total_landings=111),
    ]
    assert by_day(*rows) == {
        "2024-01-01": 2,
        "2024-01-02": 3,
        "2024-01-03": 4,
        "2024-01-04": 3,
        "2024-01-05": 1,
    }


def test_a_blank_day_without_totals_is_not_reported():
    rows = [landings(1, "2024-01-01", 2), landings(1, "2024-01-02", None), landings(1, "2024-01-03", 1)]
    flown = fly_days(records(*rows), ON)
    assert by_day(*rows) == {"2024-01-01": 2, "2024-01-03": 1}
    assert len(flown.unreported) == 1


def test_a_first_total_alone_says_nothing_about_a_blank_day():
    rows = [
        landings(1, "2024-01-01", None, total_landings=100),
        landings(1, "2024-01-02", 1, total_landings=101),
    ]
    assert by_day(*rows) == {"2024-01-02": 1}


def test_totals_of_two_aircraft_are_not_subtracted_from_each_other():
    rows = [
        aircraft(1),
        aircraft(2),
        landings(1, "2024-01-01", 2, total_landings=100),
        landings(2, "2024-01-02", None, total_landings=500),
    ]
    assert fly_days(records(*rows), ON).braked[-1] == 2


def test_totals_of_a_replaced_counter_are_not_subtracted():
    rows = [
        landings(1, "2024-01-01", 2, total_landings=100),
        landings(1, "2024-01-02", None, total_landings=3),
    ]
    assert by_day(*rows) == {"2024-01-01": 2}


def test_a_period_total_is_spread_evenly_over_the_days_without_a_row():
    rows = [landings(1, "2024-01-01", 12, to_day="2024-01-04"), landings(1, "2024-01-02", 6)]
    assert by_day(*rows) == {"2024-01-01": 2, "2024-01-02": 6, "2024-01-03": 2, "2024-01-04": 2}


def test_a_period_that_runs_on_counts_through_the_day_asked_for():
    period = landings(1, "2024-01-01", 12, to_day="2024-01-04")
    assert by_day(period, on=dt.date(2024, 1, 2)) == {"2024-01-01": 3, "2024-01-02": 3}


def test_a_rejected_take_off_weighs_its_energy_against_a_normal_stop():
    """Twice the mass at the same speed is twice the energy; twice the speed four times (14 CFR 23.735(a)(2))."""
    kind = aircraft_type(landing_mass_kg=50_000, touchdown_speed_kt=100)
    heavy = event(1, "2024-01-01", mass_kg=100_000, speed_kt=100)
    fast = event(1, "2024-01-02", mass_kg=50_000, speed_kt=200)
    assert by_day(kind, heavy, fast) == pytest.approx({"2024-01-01": 2, "2024-01-02": 4})


@pytest.mark.parametrize("known", [{"mass_kg": 80_000}, {"speed_kt": 120}, {}])
def test_a_rejected_take_off_of_unknown_mass_or_speed_weighs_one(known):
    assert by_day(event(1, "2024-01-01", **known)) == {"2024-01-01": 1}


def test_a_rejected_take_off_in_the_log_and_as_an_event_counts_once():
    kind = aircraft_type(landing_mass_kg=50_000, touchdown_speed_kt=100)
    stop = event(1, "2024-01-01", mass_kg=25_000, speed_kt=100)
    assert by_day(kind, stop, landings(1, "2024-01-01", 2, rejected_takeoffs=1)) == {"2024-01-01": 2.5}
    assert by_day(kind, stop, landings(1, "2024-01-01", 2, rejected_takeoffs=2)) == {"2024-01-01": 3.5}


def test_other_events_are_no_landings():
    assert by_day(event(1, "2024-01-01", "overheat", speed_kt=150, mass_kg=60_000)) == {}


def test_records_through_is_the_last_day_with_landings_or_a_total():
    rows = [*daily(1, "2024-01-01", 5), landings(1, "2024-01-06", None)]
    flown = fly_days(records(*rows), ON)
    assert flown.last_day.astype("datetime64[D]").astype(str).tolist() == ["2024-01-05"]


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, 9), min_size=6, max_size=20), st.data())
def test_whatever_is_blank_or_missing_totals_at_both_ends_keep_every_landing(stops, data):
    kinds = data.draw(
        st.lists(st.sampled_from(["typed", "blank", "missing"]), min_size=len(stops), max_size=len(stops))
    )
    kinds[0] = kinds[-1] = "blank"
    ends = np.cumsum(stops)
    rows = [
        landings(
            1,
            iso(day),
            count if kind == "typed" else None,
            total_landings=100 + ends[day] if day in (0, len(stops) - 1) else None,
        )
        for day, (count, kind) in enumerate(zip(stops, kinds, strict=True))
        if kind != "missing"
    ]
    flown = fly_days(records(*rows), FIRST + dt.timedelta(days=60))
    assert flown.braked[-1] == pytest.approx(ends[-1] - stops[0])
