"""Pin readings on one scale: conventions, units, limits, re-shims, known faults, and what keeps them out."""

import datetime as dt

import pytest

from lifecycle.exposure import measure_runs
from tests.builders import (
    brake_type,
    daily,
    exclusion,
    installation,
    limit,
    reading,
    records,
    reshim,
    shop_visit,
)

ON = dt.date(2024, 6, 30)


def measured(*rows):
    return measure_runs(records(daily(1, "2024-01-01", 182), installation(1, "2023-12-31"), *rows), ON)


def readings_of(*rows):
    return measured(*rows).readings


@pytest.mark.parametrize(
    ("convention", "pin", "unit", "left_mm"),
    [
        ("left", "12.4", "mm", 12.4),
        ("left", "0.488", "in", 12.3952),
        ("used", "37.6", "mm", 12.4),
        ("gap", "40.1", "mm", 12.4),
        ("used", "1.5", "in", 11.9),
    ],
)
def test_every_convention_and_unit_becomes_length_left(convention, pin, unit, left_mm):
    kind = brake_type(new_pin_mm=50.0, new_gap_mm=2.5)
    read = readings_of(kind, reading(1, "2024-03-01", pin, unit=unit, convention=convention))
    assert read["left_mm"].tolist() == pytest.approx([left_mm], abs=1e-12)
    assert read["wear_mm"].tolist() == pytest.approx([50 - left_mm], abs=1e-12)


@pytest.mark.parametrize(
    ("convention", "unit", "pins"),
    [
        ("left", "mm", ("12.40001", "12.4", "12.39999")),
        ("left", "in", ("0.48801", "0.488", "0.48799")),
        ("used", "in", ("0.69999", "0.70", "0.70001")),
        ("gap", "mm", ("40.09999", "40.1", "40.10001")),
    ],
)
@pytest.mark.parametrize("at_limit", ["off", "allowed"])
def test_exactly_at_the_limit_is_decided_without_rounding(convention, unit, pins, at_limit):
    read = readings_of(
        brake_type(new_pin_mm=50.0, new_gap_mm=2.5),
        limit(pins[1], convention=convention, unit=unit, at_limit=at_limit),
        *(
            reading(1, f"2024-03-0{number}", pin, unit=unit, convention=convention)
            for number, pin in enumerate(pins, start=1)
        ),
    )
    assert read["at_or_below"].tolist() == [False, at_limit == "off", True]


def test_a_limit_in_one_convention_holds_for_readings_in_another():
    read = readings_of(
        brake_type(new_pin_mm=50.0),
        limit("40", convention="used"),
        reading(1, "2024-03-01", "10.00001"),
        reading(1, "2024-03-02", "10"),
    )
    assert read["at_or_below"].tolist() == [False, True]


@pytest.mark.parametrize(
    ("convention", "bound", "pins"), [("used", "30", ("10", "31")), ("gap", "45", ("25", "46"))]
)
def test_without_a_new_length_readings_are_measured_against_the_limit(convention, bound, pins):
    result = measured(
        brake_type(new_pin_mm=None),
        limit(bound, convention=convention),
        *(reading(1, f"2024-03-0{day}", pin, convention=convention) for day, pin in enumerate(pins, start=1)),
    )
    assert result.runs[["limit_mm", "start_mm", "known_start"]].to_numpy().tolist() == [[0, 0, False]]
    assert result.readings["left_mm"].tolist() == [20, -1]
    assert result.readings["at_or_below"].tolist() == [False, True]
    assert result.runs["warnings"].tolist() == [
        ("new length not on record: measured against the limit only",)
    ]


def test_a_reading_that_cannot_be_compared_with_the_limit_is_kept_out():
    read = readings_of(
        brake_type(new_pin_mm=None),
        limit("30", convention="used"),
        reading(1, "2024-03-01", "20"),
        reading(1, "2024-03-02", "20", convention="used"),
    )
    assert read["why_not"].tolist() == ["new length not known", ""]
    assert read["left_mm"].isna().tolist() == [True, False]


def test_without_limit_and_new_length_wear_used_still_counts_down():
    read = readings_of(
        brake_type(new_pin_mm=None),
        reading(1, "2024-03-01", "3", convention="used"),
        reading(1, "2024-03-11", "4.5", convention="used"),
    )
    assert read["wear_mm"].tolist() == [3, 4.5]
    assert read["at_or_below"].tolist() == [False, False]


@pytest.mark.parametrize(
    ("kept_out", "why"),
    [
        ({"cold": "no"}, "hot"),
        ({"brakes_applied": "no"}, "released"),
        ({"state": "held"}, "held"),
        ({"state": "held", "cold": "no"}, "held"),
    ],
)
def test_a_pin_that_may_read_long_is_out_of_the_rate_cannot_clear_and_may_condemn(kept_out, why):
    read = readings_of(
        limit(10), reading(1, "2024-03-01", 9.5, **kept_out), reading(1, "2024-03-02", 10.5, **kept_out)
    )
    assert read["usable"].tolist() == [False, False]
    assert read["why_not"].tolist() == [why, why]
    assert read["at_or_below"].tolist() == [True, False]


def test_a_refused_reading_neither_counts_nor_condemns():
    read = readings_of(limit(10), reading(1, "2024-03-01", 9.5, state="refused"))
    assert read[["usable", "why_not", "at_or_below"]].to_numpy().tolist() == [[False, "refused", False]]


def test_a_check_without_a_value_is_kept_as_such():
    read = readings_of(limit(10), reading(1, "2024-03-01", None))
    assert read[["usable", "why_not", "at_or_below"]].to_numpy().tolist() == [
        [False, "within limit only", False]
    ]
    assert read["left_mm"].isna().all()
    assert read["landings"].tolist() == [61]


def test_a_check_that_found_the_brake_past_its_limit_condemns_it():
    read = readings_of(limit(10), reading(1, "2024-03-01", None, within_limit="no"))
    assert read[["usable", "why_not", "at_or_below"]].to_numpy().tolist() == [
        [False, "past limit only", True]
    ]


def test_a_check_taken_hot_clears_nothing():
    read = readings_of(limit(10), reading(1, "2024-03-01", None, cold="no"))
    assert read["why_not"].tolist() == ["hot"]


def test_a_re_shim_of_a_known_step_shifts_the_pin_and_not_the_wear():
    read = readings_of(
        reading(1, "2024-03-01", 20), reshim(1, "2024-03-10", 12.5), reading(1, "2024-04-01", 31.5)
    )
    assert read["wear_mm"].tolist() == [30, 31]
    assert read["segment"].tolist() == [0, 0]


@pytest.mark.parametrize("shim", [reshim(1, "2024-03-10", None), reshim(1, "2024-03-10", 12.5, 0.4)])
def test_after_an_uncertain_re_shim_the_level_is_open(shim):
    result = measured(limit(10), reading(1, "2024-03-01", 20), shim, reading(1, "2024-04-01", 31.5))
    assert result.readings["segment"].tolist() == [0, 1]
    assert result.runs["known_start"].tolist() == [True]
    assert "pin level open" in result.runs["warnings"][0][0]


def test_a_shop_visit_for_re_shim_without_its_step_is_an_uncertain_one():
    rows = [
        installation(1, "2023-12-31", "2024-03-05", removal_reason="opportunity"),
        installation(1, "2024-03-20", starts_as="same run"),
        shop_visit(1, "2024-03-06", "2024-03-15", "re-shim"),
        reading(1, "2024-03-01", 20),
        reading(1, "2024-04-01", 31.5),
    ]
    log = daily(1, "2024-01-01", 182)
    assert measure_runs(records(log, *rows), ON).readings["segment"].tolist() == [0, 1]
    known = reshim(1, "2024-03-10", 12.5)
    assert measure_runs(records(log, known, *rows), ON).readings["segment"].tolist() == [0, 0]


def test_readings_of_the_day_of_a_re_shim_are_told_apart_by_their_level():
    read = readings_of(
        reading(1, "2024-03-01", 20.4),
        reading(1, "2024-03-10", 32.2, occasion="after"),
        reading(1, "2024-03-10", 20.0, occasion="before"),
        reshim(1, "2024-03-10", 12.0),
        reading(1, "2024-03-20", 31.9),
    )
    assert read["record"].tolist() == [1, 3, 2, 4]
    assert read["wear_mm"].tolist() == pytest.approx([29.6, 30.0, 29.8, 30.1])


def test_a_span_of_known_fault_opens_a_segment_and_its_wear_and_landings_count():
    read = readings_of(
        reading(1, "2024-02-01", 45),
        exclusion("2024-02-10", "2024-02-20", brake=1),
        reading(1, "2024-02-15", 40),
        reading(1, "2024-02-20", 38),
        reading(1, "2024-03-01", 37.5),
    )
    assert read["why_not"].tolist() == ["", "excluded", "", ""]
    assert read["segment"].tolist() == [0, 0, 1, 1]
    assert read["wear_mm"].tolist() == [5, 10, 12, 12.5]
    assert read["landings"].tolist() == [32, 46, 51, 61]


def test_an_exclusion_that_lasts_keeps_every_later_reading_out():
    read = readings_of(
        reading(1, "2024-02-01", 45), exclusion("2024-02-10", None, brake=1), reading(1, "2024-06-30", 40)
    )
    assert read["why_not"].tolist() == ["", "excluded"]


def test_an_exclusion_of_an_aircraft_holds_while_the_brake_is_on_it():
    rows = [
        daily(1, "2024-01-01", 182),
        installation(1, "2023-12-31", "2024-02-12", removal_reason="leak"),
        installation(1, "2024-03-10", starts_as="same run"),
        reading(1, "2024-02-11", 45),
        reading(1, "2024-03-10", 44),
        reading(1, "2024-03-20", 43),
    ]
    read = measure_runs(records(*rows, exclusion("2024-02-10", "2024-03-01", aircraft=1)), ON).readings
    assert read["why_not"].tolist() == ["excluded", "", ""]
    assert read["segment"].tolist() == [0, 1, 1]
    apart = measure_runs(records(*rows, exclusion("2024-02-20", "2024-03-01", aircraft=1)), ON).readings
    assert apart["segment"].tolist() == [0, 0, 0]


def test_a_bench_reading_between_installations_belongs_to_the_run_at_its_landings():
    rows = [
        daily(1, "2024-01-01", 182),
        installation(1, "2023-12-31", "2024-02-01", removal_reason="leak"),
        installation(1, "2024-03-01", starts_as="same run"),
        reading(1, "2024-02-10", 45),
    ]
    assert measure_runs(records(*rows), ON).readings["landings"].tolist() == [32]
