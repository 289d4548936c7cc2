"""Braked landings of every run against a plain count, and the cases a clerk would ask about."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from lifecycle.errors import BadRecordsError
from lifecycle.exposure import measure_runs
from tests.builders import (
    aircraft,
    aircraft_type,
    change,
    daily,
    deactivation,
    installation,
    landings,
    limit,
    reading,
    records,
    shop_visit,
)
from tests.lifecycle.fleets import FIRST, LAST, fleets, iso
from tests.lifecycle.plain_exposure import plain_runs

# Shrinking fleets takes minutes and shows little; the seed that fails is printed.
WITHOUT_SHRINKING = {
    "deadline": None,
    "phases": (Phase.explicit, Phase.reuse, Phase.generate),
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.data_too_large],
}


def by_run(measured):
    keys = list(zip(measured.runs["brake"], measured.runs["run"], strict=True))
    found = {
        key: {"landings": count, "readings": {}}
        for key, count in zip(keys, measured.runs["landings"], strict=True)
    }
    for row in measured.readings.itertuples():
        found[keys[row.run]]["readings"][row.record] = row.landings
    return found


def check_against_plain_count(fleet, on=LAST):
    measured, plain = by_run(measure_runs(fleet, on)), plain_runs(fleet, on)
    assert measured.keys() == plain.keys()
    for key, run in plain.items():
        assert measured[key]["landings"] == pytest.approx(run["landings"], abs=1e-9), key
        assert measured[key]["readings"] == pytest.approx(run["readings"], abs=1e-9), key


@settings(max_examples=8, **WITHOUT_SHRINKING)
@given(fleets(), st.integers(min_value=5, max_value=36))
def test_landings_of_every_run_and_reading_equal_a_plain_count_day_by_day(fleet, day):
    check_against_plain_count(fleet, FIRST + dt.timedelta(days=day))


@pytest.mark.long
@settings(max_examples=2000, **WITHOUT_SHRINKING)
@given(fleets())
def test_landings_equal_a_plain_count_on_two_thousand_fleets(fleet):
    check_against_plain_count(fleet)


@settings(max_examples=15, **WITHOUT_SHRINKING)
@given(
    st.lists(st.integers(0, 6), min_size=30, max_size=30),
    st.lists(
        st.tuples(st.integers(1, 3), st.integers(0, 29), st.integers(1, 12)),
        max_size=4,
        unique_by=lambda t: t[0],
    ),
)
def test_brakes_of_a_full_aircraft_share_all_its_landings_whoever_is_deactivated(stops, spans):
    rows = [landings(1, iso(day), count) for day, count in enumerate(stops)]
    rows += [installation(number, "2023-12-31", position=str(number)) for number in (1, 2, 3, 4)]
    rows += [deactivation(number, iso(begun), iso(begun + days)) for number, begun, days in spans]
    measured = measure_runs(records(*rows), LAST)
    assert measured.runs["landings"].sum() == pytest.approx(4 * sum(stops))


def test_landings_of_the_day_of_a_swap_go_to_the_brake_that_was_there_in_the_morning():
    fleet = records(
        daily(1, "2024-01-01", 10, full_stops=3),
        installation(1, "2023-12-31", "2024-01-04"),
        installation(2, "2024-01-04"),
    )
    assert measure_runs(fleet, dt.date(2024, 1, 10)).runs["landings"].tolist() == [12, 18]


def test_a_reading_counts_after_the_flying_of_its_day():
    fleet = records(
        daily(1, "2024-01-01", 10, full_stops=3), installation(1, "2023-12-31"), reading(1, "2024-01-02", 49)
    )
    assert measure_runs(fleet, dt.date(2024, 1, 10)).readings["landings"].tolist() == [6]


def test_a_position_empty_in_the_morning_gives_its_landings_to_nobody():
    fleet = records(daily(1, "2024-01-01", 4, full_stops=2), installation(1, "2024-01-02"))
    assert measure_runs(fleet, dt.date(2024, 1, 4)).runs["landings"].tolist() == [4]


def test_a_run_goes_on_over_another_aircraft_and_position():
    fleet = records(
        aircraft(1),
        aircraft(2),
        daily(1, "2024-01-01", 20, full_stops=1),
        daily(2, "2024-01-01", 20, full_stops=10),
        installation(1, "2023-12-31", "2024-01-05", removal_reason="robbed"),
        installation(1, "2024-01-08", aircraft=2, position="3", starts_as="same run"),
        reading(1, "2024-01-06", 45),
        reading(1, "2024-01-10", 44),
    )
    measured = measure_runs(fleet, dt.date(2024, 1, 20))
    assert measured.runs["landings"].tolist() == [5 + 120]
    assert measured.readings["landings"].tolist() == [5, 25]
    assert measured.spans[["landings_from", "landings_to"]].to_numpy().tolist() == [[0, 5], [5, 125]]
    assert measured.runs["registration"].tolist() == ["ZZ-002"]


def test_a_deactivated_brake_has_no_landings_and_the_others_more():
    fleet = records(
        aircraft_type(positions="1;2", groups="a;a"),
        daily(1, "2024-01-01", 10, full_stops=3),
        installation(1, "2023-12-31", position="1"),
        installation(2, "2023-12-31", position="2"),
        deactivation(1, "2024-01-04", "2024-01-06"),
        reading(1, "2024-01-05", 40),
    )
    measured = measure_runs(fleet, dt.date(2024, 1, 10))
    assert measured.runs["landings"].tolist() == [24, 36]
    assert measured.readings["landings"].tolist() == [12]


def test_two_entries_of_one_deactivation_count_once():
    fleet = records(
        aircraft_type(positions="1;2", groups="a;a"),
        daily(1, "2024-01-01", 10, full_stops=3),
        installation(1, "2023-12-31", position="1"),
        installation(2, "2023-12-31", position="2"),
        deactivation(1, "2024-01-04", "2024-01-06"),
        deactivation(1, "2024-01-05", None),
        limit(10),
    )
    measured = measure_runs(fleet, dt.date(2024, 1, 10))
    assert measured.runs["landings"].tolist() == [12, 12 + 36]
    assert measured.runs["warnings"].tolist() == [("deactivated: installed and not braking",), ()]


def test_blank_days_count_for_nobody_and_are_said():
    fleet = records(
        landings(1, "2024-01-01", 2),
        landings(1, "2024-01-02", None),
        landings(1, "2024-01-03", 2),
        installation(1, "2023-12-31"),
        limit(10),
    )
    runs = measure_runs(fleet, dt.date(2024, 1, 3)).runs
    assert runs["landings"].tolist() == [4]
    assert runs["warnings"].tolist() == [("days of flying not reported: 1",)]


def test_status_of_an_aircraft_that_does_not_fly_is_said():
    fleet = records(limit(10), installation(1, "2023-12-31"), change(1, "2024-01-05", status="stored"))
    assert measure_runs(fleet, dt.date(2024, 1, 10)).runs["warnings"].tolist() == [("aircraft stored",)]


def test_fitted_brakes_carry_their_aircraft_as_it_is_now_and_others_as_it_was():
    fleet = records(
        aircraft(1, weight_variant="light"),
        change(1, "2024-01-05", base="Away", new_registration="ZZ-901", weight_variant="heavy"),
        daily(1, "2024-01-01", 8),
        installation(1, "2023-12-31", "2024-01-03", position="2", removal_reason="leak"),
        installation(2, "2024-01-03", position="2"),
    )
    runs = measure_runs(fleet, dt.date(2024, 1, 9)).runs
    columns = ["fitted", "aircraft", "registration", "position", "position_group", "base", "weight_variant"]
    assert runs[columns].to_numpy().tolist() == [
        [False, -1, "", "", "in", "Home", "light"],
        [True, 1, "ZZ-901", "2", "in", "Away", "heavy"],
    ]
    assert runs["records_through"].isna().tolist() == [True, False]
    assert runs["records_through"][1].date() == dt.date(2024, 1, 8)


def test_what_is_dated_later_is_left_out():
    fleet = records(
        daily(1, "2024-01-01", 20),
        installation(1, "2023-12-31", "2024-01-15", removal_reason="worn"),
        installation(2, "2024-01-15"),
        reading(1, "2024-01-15", 10),
        shop_visit(1, "2024-01-16", "2024-01-18"),
    )
    measured = measure_runs(fleet, dt.date(2024, 1, 10))
    assert measured.runs[["serial", "landings", "fitted", "end_reason"]].to_numpy().tolist() == [
        ["S1", 10, True, ""],
        ["S2", 0, False, ""],
    ]
    assert measured.readings.empty


def test_counters_typed_with_the_work_decide_within_the_day():
    fleet = records(
        daily(1, "2024-01-01", 10, full_stops=4),
        landings(1, "2024-01-11", 4, total_landings=1044),
        installation(1, "2024-01-03", "2024-01-08", landings_on=1009, landings_off=1031),
        reading(1, "2024-01-05", 45, aircraft_landings=1017),
        reading(1, "2024-01-06", 44),
    )
    measured = measure_runs(fleet, dt.date(2024, 1, 11))
    assert measured.runs["landings"].tolist() == [22]
    assert measured.readings["landings"].tolist() == [8, 15]


def test_counters_count_against_each_other_where_the_log_has_no_totals():
    fleet = records(
        installation(1, "2024-01-03", landings_on=500),
        reading(1, "2024-02-05", 45, aircraft_landings=620),
        reading(1, "2024-03-05", 40, aircraft_landings=760),
    )
    measured = measure_runs(fleet, dt.date(2024, 3, 10))
    assert measured.readings["landings"].tolist() == [120, 260]
    assert measured.runs["landings"].tolist() == [260]


def test_a_counter_ahead_of_a_late_log_adds_the_landings_it_knows():
    fleet = records(
        daily(1, "2024-01-01", 10, full_stops=4),
        installation(1, "2023-12-31", landings_on=100),
        reading(1, "2024-01-20", 45, aircraft_landings=180),
    )
    measured = measure_runs(fleet, dt.date(2024, 1, 25))
    assert measured.readings["landings"].tolist() == [80]
    assert measured.runs["landings"].tolist() == [80]


def test_counter_of_a_held_reading_is_not_believed():
    fleet = records(
        daily(1, "2024-01-01", 10, full_stops=4),
        installation(1, "2023-12-31", landings_on=100),
        reading(1, "2024-01-05", 45, aircraft_landings=12000, state="held"),
        reading(1, "2024-01-10", 45),
    )
    assert measure_runs(fleet, dt.date(2024, 1, 10)).readings["landings"].tolist() == [20, 40]


def test_landings_never_fall_from_reading_to_reading_and_a_clash_is_said():
    fleet = records(
        limit(10),
        daily(1, "2024-01-01", 10, full_stops=4),
        installation(1, "2023-12-31", landings_on=100),
        reading(1, "2024-01-05", 45, aircraft_landings=150),
        reading(1, "2024-01-06", 44),
    )
    measured = measure_runs(fleet, dt.date(2024, 1, 10))
    assert measured.readings["landings"].tolist() == [50, 50]
    assert measured.runs["warnings"].tolist() == [
        ("aircraft landings typed with a reading fall behind an earlier reading",)
    ]


@settings(max_examples=8, **WITHOUT_SHRINKING)
@given(st.randoms(use_true_random=False))
def test_work_in_the_middle_of_a_day_is_measured_by_its_counters(rng):
    """Truth known: every landing is numbered, and brakes are swapped and read at any of them."""
    stops = [rng.randint(0, 8) for _ in range(20)]
    ends = np.cumsum(stops).tolist()
    swaps = sorted(rng.sample(range(1, 20), 3))
    at = sorted(rng.randint(ends[day] - stops[day], ends[day]) for day in swaps)
    rows = [landings(1, iso(day), count, total_landings=5000 + ends[day]) for day, count in enumerate(stops)]
    rows += [
        installation(1, iso(swaps[0]), iso(swaps[1]), landings_on=5000 + at[0], landings_off=5000 + at[1]),
        installation(2, iso(swaps[1]), landings_on=5000 + at[1]),
        reading(2, iso(swaps[2]), 45, aircraft_landings=5000 + at[2]),
    ]
    measured = measure_runs(records(*rows), LAST)
    assert measured.runs["landings"].tolist() == pytest.approx([at[1] - at[0], ends[-1] - at[1]])
    assert measured.readings["landings"].tolist() == pytest.approx([at[2] - at[1]])


def test_a_brake_that_nobody_entered_is_an_error_that_names_it():
    fleet = records(installation(1, "2024-01-01"))
    object.__setattr__(fleet, "brakes", fleet.brakes.iloc[:0])
    with pytest.raises(BadRecordsError, match=r"brake in installations \[1\]"):
        measure_runs(fleet, LAST)


def test_an_empty_set_of_records_has_no_runs():
    measured = measure_runs(records(), LAST)
    assert measured.runs.empty
    assert measured.spans.empty
    assert measured.readings.empty
