"""Landings and wear by installation, from records through the real chain."""

import datetime as dt

import pytest

from lifecycle.consumption import consumption, flight_hours_per_landing
from lifecycle.exposure import measure_runs
from lifecycle.wear import fit_fleet
from tests.builders import (
    aircraft,
    aircraft_type,
    brake,
    brake_type,
    installation,
    landings,
    limit,
    reading,
    records,
)

ON = dt.date(2025, 12, 31)
YEAR = ("2025-01-01", "2025-12-31")


def used(*rows):
    book = records(brake_type(), limit(10), aircraft_type(), *rows)
    runs = measure_runs(book, ON)
    return consumption(runs, fit_fleet(runs), book, on=ON), runs


def two_aircraft():
    return [
        aircraft(1, base="Home"),
        aircraft(2, base="Away"),
        landings(1, YEAR[0], 730, to_day=YEAR[1]),
        landings(2, YEAR[0], 1095, to_day=YEAR[1]),
    ]


def test_a_brake_that_moves_takes_its_landings_and_wear_along():
    flown, runs = used(
        *two_aircraft(),
        installation(1, "2025-01-01", "2025-07-02", aircraft=1, removal_reason="robbed"),
        installation(1, "2025-07-02", aircraft=2, starts_as="same run"),
        reading(1, "2025-07-01", 50 - 0.02 * 364),
        reading(1, "2025-12-31", 50 - 0.02 * 913),
    )
    assert flown["base"].tolist() == ["Home", "Away"]
    assert flown["landings"].sum() == pytest.approx(runs.runs["landings"].sum())
    assert flown["wear_mm"].sum() == pytest.approx(0.02 * 913, rel=0.02)
    assert flown["unscheduled"].tolist() == [1.0, 0.0]
    assert flown["days"].tolist() == [182.0, 182.0]


def test_runs_used_up_over_a_worn_run_come_to_one():
    flown, _ = used(
        *two_aircraft(),
        installation(1, "2025-01-01", "2025-12-01", aircraft=2, removal_reason="worn"),
        *(
            reading(1, f"2025-{month:02d}-28", round(50 - 40 * day / 335, 2))
            for month, day in ((3, 87), (6, 179), (9, 271))
        ),
        reading(1, "2025-12-01", 10.1),
    )
    assert flown["runs_used"].sum() == pytest.approx(1.0, rel=0.02)
    assert flown["unscheduled"].tolist() == [0.0]


def test_a_brake_that_never_flew_uses_nothing():
    flown, _ = used(*two_aircraft(), installation(1, "2025-12-31", aircraft=1), brake(2))
    assert flown.empty


def test_the_arrangement_of_each_brake_is_carried():
    flown, _ = used(
        *two_aircraft(),
        brake(1, arrangement="by the hour"),
        brake(2, arrangement="owned"),
        installation(1, "2025-01-01", aircraft=1),
        installation(2, "2025-01-01", aircraft=2),
    )
    assert flown.set_index("run")["by_the_hour"].tolist() == [True, False]


def test_flight_hours_per_landing_count_rows_that_report_both():
    book = records(
        aircraft_type("twin"),
        aircraft_type("quad"),
        aircraft(1, aircraft_type="twin"),
        aircraft(2, aircraft_type="quad"),
        landings(1, "2025-01-01", 4, flight_hours=6.0),
        landings(1, "2025-01-02", 2, flight_hours=4.0),
        landings(1, "2025-01-03", 9),
        landings(1, "2025-01-04", None, flight_hours=3.0),
        landings(2, "2025-01-01", 5),
    )
    assert flight_hours_per_landing(book) == {"twin": pytest.approx(10 / 6)}
