"""Counters of landing kinds along a run, and where it landed, against plain counts by hand."""

import datetime as dt

import numpy as np
import pytest

from lifecycle.exposure import measure_runs
from lifecycle.landing_kinds import AHEAD, COSINE, ENERGY, KINDS, REJECTED, TOUCHES
from lifecycle.wear_case import cases_by_type
from tests.builders import (
    aircraft,
    aircraft_type,
    change,
    event,
    installation,
    landings,
    limit,
    reading,
    records,
)

ON = dt.date(2024, 1, 20)


def iso(day):
    return f"2024-01-{day:02d}"


def flown(*given):
    """Ten days of four landings on one aircraft, two brakes read on days 5 and 10, and what else is given."""
    rows = [limit(10)]
    rows += [landings(1, iso(day), 4, **kinds) for day, kinds in enumerate(given, start=1)]
    rows += [installation(1, "2023-12-31", starts_as="new")]
    rows += [reading(1, iso(5), 48.0), reading(1, iso(10), 46.0)]
    return rows


def counted(rows, kind):
    return measure_runs(records(*rows), ON).readings[kind].tolist()


def test_touch_and_gos_are_counted_by_each_reading():
    rows = flown(*({"touch_and_gos": day % 3} for day in range(1, 11)))
    by_then = [sum(day % 3 for day in range(1, last + 1)) for last in (5, 10)]
    assert counted(rows, TOUCHES) == pytest.approx(by_then)


def test_energy_goes_as_the_square_of_mass_and_an_unknown_mass_counts_as_usual():
    masses = [110.0, None, 90.0, None, 100.0, 120.0, None, None, None, None]
    rows = [
        *flown(*({"landing_mass_kg": mass} for mass in masses)),
        aircraft_type(landing_mass_kg=100.0),
    ]
    first = 4 * (1.1**2 - 1 + 0.9**2 - 1)
    assert counted(rows, ENERGY) == pytest.approx([first, first + 4 * (1.2**2 - 1)])


def test_a_rejected_takeoff_counts_its_energy_once():
    rows = [*flown(*({} for _ in range(10))), event(1, iso(3), "rejected take-off")]
    assert counted(rows, REJECTED) == pytest.approx([1.0, 1.0], rel=1e-9)


def test_the_season_is_counted_by_the_day_of_the_year():
    rows = flown(*({} for _ in range(10)))
    start = np.datetime64("2024-01-01").astype("datetime64[D]").astype(int)
    angles = 2 * np.pi * (start + np.arange(10)) / 365.25
    assert counted(rows, COSINE) == pytest.approx([4 * np.cos(angles[:5]).sum(), 4 * np.cos(angles).sum()])


def test_what_the_records_do_not_carry_has_no_column():
    read = measure_runs(records(*flown(*({} for _ in range(10)))), ON).readings
    assert [kind for kind in KINDS if kind in read] == [kind for kind in KINDS if "season" in kind]


def test_what_is_ahead_is_what_the_aircraft_did_lately_steadied_by_the_fleet():
    rows = flown(*({"touch_and_gos": 2} for _ in range(10)))
    assert measure_runs(records(*rows), ON).runs[TOUCHES + AHEAD].tolist() == pytest.approx([0.5])


def test_a_bend_is_what_a_counter_runs_ahead_of_its_average_and_ends_at_none():
    rows = flown(*({"touch_and_gos": 4 if day <= 5 else 0} for day in range(1, 11)))
    case = cases_by_type(measure_runs(records(*rows), ON))["BT-1"]
    assert case.shares["landings", TOUCHES].tolist() == pytest.approx([0.5])
    assert case.bends["landings", TOUCHES][:, 0].tolist() == pytest.approx([20 - 0.5 * 20, 0.0])


def test_a_brake_whose_aircraft_moved_lands_at_both_bases_from_the_day_of_the_move():
    rows = [*flown(*({} for _ in range(10))), change(1, iso(8), base="Y"), aircraft(1, base="X")]
    measured = measure_runs(records(*rows), ON)
    assert measured.places[["base", "landings_from", "landings_to"]].to_numpy().tolist() == [
        ["X", 0.0, 28.0],
        ["Y", 28.0, 40.0],
    ]
    assert len(measured.spans) == 1
    case = cases_by_type(measured)["BT-1"]
    assert case.shares["base", "X"].tolist() == pytest.approx([0.7])
    assert case.bends["base", "X"][:, 0].tolist() == pytest.approx([20 - 0.7 * 20, 0.0])
    assert case.bends["base", "Y"][:, 0].tolist() == pytest.approx([0 - 0.3 * 20, 0.0])
