"""Heat sink runs: what starts one, what ends one, and what is known of its start."""

import datetime as dt

import pytest

from lifecycle.exposure import measure_runs
from tests.builders import (
    aircraft,
    brake,
    brake_type,
    daily,
    installation,
    landings,
    limit,
    reading,
    records,
    shop_visit,
)

ON = dt.date(2024, 6, 30)


def runs_of(*rows, on=ON):
    return measure_runs(records(limit(10), daily(1, "2024-01-01", 182), *rows), on).runs


def lives(runs):
    started, ended = (
        runs[name].dt.strftime("%m-%d").where(runs[name].notna(), "") for name in ("started_on", "ended_on")
    )
    return list(zip(runs["run"], started, ended, runs["end_reason"], strict=True))


@pytest.mark.parametrize("word", ["new", "overhauled", "refurbished"])
def test_an_installation_that_is_fresh_starts_a_run(word):
    runs = runs_of(
        installation(1, "2023-12-31", "2024-02-01", removal_reason="leak"),
        installation(1, "2024-03-01", starts_as=word),
    )
    assert lives(runs) == [(1, "12-31", "02-01", "leak"), (2, "03-01", "", "")]


@pytest.mark.parametrize("work", ["overhaul", "refurbish"])
def test_a_brake_back_from_overhaul_starts_a_run_whatever_its_installation_says(work):
    runs = runs_of(
        installation(1, "2023-12-31", "2024-02-01", removal_reason="leak"),
        shop_visit(1, "2024-02-05", "2024-02-20", work),
        installation(1, "2024-03-01", starts_as="same run"),
    )
    assert lives(runs) == [(1, "12-31", "02-01", "leak"), (2, "03-01", "", "")]
    assert runs["known_start"].tolist() == [True, work == "overhaul"]


def test_an_overhaul_and_the_installation_after_it_start_one_run_not_two():
    runs = runs_of(
        installation(1, "2023-12-31", "2024-02-01", removal_reason="worn"),
        shop_visit(1, "2024-02-05", "2024-02-20"),
        installation(1, "2024-03-01", starts_as="overhauled"),
    )
    assert lives(runs) == [(1, "12-31", "02-01", "worn"), (2, "03-01", "", "")]


def test_a_visit_whose_return_was_written_down_late_ends_with_the_installation():
    runs = runs_of(
        installation(1, "2023-12-31", "2024-02-01", removal_reason="worn"),
        shop_visit(1, "2024-02-05", "2024-03-20"),
        installation(1, "2024-03-01", starts_as="same run"),
    )
    assert lives(runs) == [(1, "12-31", "02-01", "worn"), (2, "03-01", "", "")]


@pytest.mark.parametrize("work", ["repair", "re-shim", "modification", "test", "no fault found"])
def test_other_shop_work_leaves_the_run_as_it_is(work):
    runs = runs_of(
        installation(1, "2023-12-31", "2024-02-01", removal_reason="leak"),
        shop_visit(1, "2024-02-05", "2024-02-20", work),
        installation(1, "2024-03-01", starts_as="same run"),
    )
    assert lives(runs) == [(1, "12-31", "", "")]


def test_a_worn_brake_has_ended_its_run_and_one_off_for_a_leak_has_not():
    runs = runs_of(
        installation(1, "2023-12-31", "2024-02-01", removal_reason="worn"),
        installation(2, "2024-02-01", "2024-03-01", removal_reason="leak"),
    )
    assert lives(runs) == [(1, "12-31", "02-01", "worn"), (1, "02-01", "", "")]
    assert runs["fitted"].tolist() == [False, False]


@pytest.mark.parametrize(
    ("visit", "reason"),
    [
        (shop_visit(1, "2024-02-05", None, "scrap"), "scrap"),
        (shop_visit(1, "2024-02-05", None, "overhaul"), "overhaul"),
        (shop_visit(1, "2024-02-05", "2024-02-09", "repair", brake_back=2), "repair"),
    ],
)
def test_the_shop_ends_a_run_when_it_scraps_overhauls_or_exchanges(visit, reason):
    runs = runs_of(brake(2), installation(1, "2023-12-31", "2024-02-01"), visit)
    assert lives(runs)[0] == (1, "12-31", "02-01", reason)


def test_of_an_exchange_the_brake_that_comes_back_starts_afresh():
    runs = runs_of(
        installation(1, "2023-12-31", "2024-02-01", removal_reason="worn"),
        shop_visit(1, "2024-02-05", "2024-02-20", "overhaul", brake_back=2),
        installation(2, "2024-03-01", starts_as="same run"),
    )
    assert runs[["serial", "run", "known_start", "fitted"]].to_numpy().tolist() == [
        ["S1", 1, True, False],
        ["S2", 1, True, True],
    ]


def test_a_brake_back_from_overhaul_and_not_yet_installed_has_a_run_that_waits():
    fleet = records(
        limit(10),
        daily(1, "2024-01-01", 182),
        installation(1, "2023-12-31", "2024-02-01", removal_reason="worn"),
        shop_visit(1, "2024-02-05", "2024-02-20"),
        reading(1, "2024-02-06", 11.0),
        reading(1, "2024-02-20", 50.0),
    )
    measured = measure_runs(fleet, ON)
    assert lives(measured.runs) == [(1, "12-31", "02-01", "worn"), (2, "02-20", "", "")]
    assert measured.readings["run"].tolist() == [0, 1]
    assert measured.runs["landings"].tolist() == [32, 0]
    assert len(measured.spans) == 1


def test_an_overhaul_that_took_one_day_does_not_end_the_run_it_starts():
    runs = runs_of(
        installation(1, "2023-12-31", "2024-02-01", removal_reason="worn"),
        shop_visit(1, "2024-02-05", "2024-02-05"),
    )
    assert lives(runs) == [(1, "12-31", "02-01", "worn"), (2, "02-05", "", "")]


def test_a_brake_never_installed_has_one_run_that_has_not_started():
    runs = runs_of(brake(1))
    assert lives(runs) == [(1, "", "", "")]
    assert runs[["landings", "fitted", "known_start"]].to_numpy().tolist() == [[0, False, False]]


def test_a_shop_visit_while_installed_is_left_out_and_said():
    runs = runs_of(installation(1, "2023-12-31"), shop_visit(1, "2024-02-05", "2024-02-20"))
    assert lives(runs) == [(1, "12-31", "", "")]
    assert runs["warnings"].tolist() == [("shop visit while installed left out",)]


@pytest.mark.parametrize(
    ("word", "start_pin_mm", "known", "start_mm"),
    [
        ("new", None, True, 50),
        ("overhauled", None, True, 50),
        ("refurbished", None, False, 50),
        ("refurbished", 46.5, True, 46.5),
        ("same run", None, False, 50),
        ("unknown", None, False, 50),
        ("same run", 31.0, True, 31),
    ],
)
def test_the_start_of_a_first_installation_is_known_or_not(word, start_pin_mm, known, start_mm):
    runs = runs_of(installation(1, "2023-12-31", starts_as=word, start_pin_mm=start_pin_mm))
    assert runs[["known_start", "start_mm"]].to_numpy().tolist() == [[known, start_mm]]


def test_without_a_new_length_on_record_the_start_is_not_known():
    runs = runs_of(brake_type(new_pin_mm=None), installation(1, "2023-12-31"))
    assert runs[["known_start", "start_mm"]].to_numpy().tolist() == [[False, 0]]


def test_a_brake_that_came_within_its_run_brings_its_landings():
    runs = runs_of(
        brake(1, landings_since_new=900, landings_since_overhaul=400),
        brake(2, landings_since_new=300),
        brake(3, landings_since_overhaul=400),
        installation(1, "2024-01-01", position="1", starts_as="same run"),
        installation(2, "2024-01-01", position="2", starts_as="unknown"),
        installation(3, "2024-01-01", position="3", starts_as="overhauled"),
    )
    assert (runs["landings"] - 181).tolist() == [400, 300, 0]
    assert runs["known_start"].tolist() == [False, False, True]


def test_landings_before_a_start_pin_was_measured_are_not_brought_along():
    runs = runs_of(
        brake(1, landings_since_overhaul=400),
        installation(1, "2024-01-01", starts_as="same run", start_pin_mm=31.0),
    )
    assert runs["landings"].tolist() == [181]


def test_a_brake_installed_before_the_log_begins_has_no_known_start():
    runs = runs_of(brake(1), brake(2, landings_since_overhaul=250), brake(3), *before_log())
    assert runs["known_start"].tolist() == [False, True, False]
    assert runs["landings"].tolist() == [182, 432, 182]
    assert [len(notes) for notes in runs["warnings"]] == [1, 0, 1]


def test_running_totals_and_a_counter_at_installation_reach_back_before_the_log():
    total = landings(1, "2024-07-01", 1, total_landings=1583)
    runs = runs_of(brake(1), brake(2), brake(3), *before_log(), total, on=dt.date(2024, 7, 1))
    assert runs["known_start"].tolist() == [False, False, True]
    assert runs["landings"].tolist() == [183, 183, 583]


def before_log():
    return [
        installation(1, "2023-10-01", position="1"),
        installation(2, "2023-10-01", position="2"),
        installation(3, "2023-10-01", position="3", landings_on=1000),
    ]


def test_an_aircraft_that_entered_service_later_had_no_landings_to_miss():
    runs = runs_of(aircraft(1, in_service_on="2023-12-28"), installation(1, "2023-10-01"))
    assert runs["known_start"].tolist() == [True]
