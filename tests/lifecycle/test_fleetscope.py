"""Which aircraft a retrofit is about, what they will fly, what is left on their brakes."""

import datetime as dt

import numpy as np
import pytest

from lifecycle.errors import NotEnoughDataError
from lifecycle.exposure import measure_runs
from lifecycle.fleetscope import candidates, scope_of
from lifecycle.flying import learn_flying
from lifecycle.wear import fit_fleet
from tests.builders import (
    Row,
    aircraft,
    aircraft_type,
    brake,
    brake_type,
    change,
    installation,
    landings,
    limit,
    reading,
    records,
)

ON = dt.date(2026, 1, 1)
TYPES = (brake_type("OLD"), brake_type("NEW"), limit(10, "OLD"), limit(10, "NEW"), aircraft_type())


def effective(kind, **values):
    return Row("effectivity", {"aircraft_type": "twin", "brake_type": kind, **values})


def fitted(number, kinds, **values):
    """An aircraft with one brake a position, of these types, worn 0.02 mm a landing from 2025 on."""
    rows = [aircraft(number, **values), landings(number, "2025-01-01", 730, to_day="2025-12-31")]
    for position, kind in enumerate(kinds, 1):
        serial = 10 * number + position
        rows += [brake(serial, brake_type=kind), installation(serial, "2025-01-01", aircraft=number)]
        rows[-1].columns["position"] = str(position)
        rows.append(reading(serial, "2025-12-31", 50 - 0.02 * 730))
    return rows


def chosen(*rows, **types):
    book = records(*TYPES, *rows)
    names = {"from_type": "OLD", "to_type": "NEW", **types}
    return candidates(measure_runs(book, ON), book, **names, on=ON).set_index("aircraft")


def test_aircraft_that_carry_the_legacy_type_are_chosen_and_those_on_the_new_one_counted():
    found = chosen(fitted(1, ["OLD"] * 4), fitted(2, ["NEW"] * 4), fitted(3, ["OLD"] * 4))
    assert list(found.index) == [1, 3]
    assert found["brakes"].tolist() == [4.0, 4.0]
    assert found["already"].tolist() == [1, 1]


def test_positions_on_the_new_type_already_are_not_changed_again():
    assert chosen(fitted(1, ["NEW", "OLD", "OLD", "NEW"]))["brakes"].tolist() == [2.0]


def test_an_aircraft_without_brakes_on_record_is_chosen_where_it_may_carry_both():
    bare = aircraft(2)
    both = (effective("OLD"), effective("NEW"))
    assert list(chosen(fitted(1, ["OLD"] * 4), bare, *both).index) == [1, 2]
    assert list(chosen(fitted(1, ["OLD"] * 4), bare, effective("OLD")).index) == [1]
    assert list(chosen(fitted(1, ["OLD"] * 4), bare).index) == [1]


@pytest.mark.parametrize(
    "scope",
    [
        {"aircraft": 9.0},
        {"weight_variant": "HEAVY"},
        {"from_on": "2026-06-01"},
        {"to_on": "2026-01-01"},
        {"aircraft_type": "quad"},
    ],
)
def test_effectivity_counts_only_in_its_scope_and_time(scope):
    rows = (fitted(1, ["OLD"] * 4), aircraft(2), effective("OLD"), effective("NEW", **scope))
    assert list(chosen(*rows).index) == [1]


def test_effectivity_that_lacks_the_new_type_is_told_and_silence_is_not():
    assert chosen(fitted(1, ["OLD"] * 4), effective("OLD"))["listed"].tolist() == [False]
    assert chosen(fitted(1, ["OLD"] * 4), effective("NEW"))["listed"].tolist() == [True]
    assert chosen(fitted(1, ["OLD"] * 4))["listed"].tolist() == [True]


def test_aircraft_sold_or_retired_are_left_out():
    found = chosen(
        fitted(1, ["OLD"] * 4),
        fitted(2, ["OLD"] * 4),
        change(2, "2025-11-01", status="sold"),
        fitted(3, ["OLD"] * 4, retires_on="2025-12-31"),
    )
    assert list(found.index) == [1]


def test_no_aircraft_at_all_is_an_error():
    with pytest.raises(NotEnoughDataError, match="no aircraft carries LOST"):
        chosen(fitted(1, ["OLD"] * 4), from_type="LOST")


def scoped(*rows, **choices):
    book = records(*TYPES, *rows)
    runs = measure_runs(book, ON)
    craft = candidates(runs, book, from_type="OLD", to_type="NEW", on=ON)
    given = {"horizon_years": None, "landings_growth": 0.0, **choices}
    return scope_of(craft, runs, fit_fleet(runs), learn_flying(book, ON), from_type="OLD", on=ON, **given)


def test_flying_ends_with_retirement_and_the_years_with_the_last():
    rows = (
        fitted(1, ["OLD"] * 4, retires_on="2028-01-01"),
        fitted(2, ["OLD"] * 4, retires_on="2030-12-31"),
    )
    scope = scoped(*rows)
    assert scope.years == 5
    yearly = np.diff(scope.cumulative[:, ::12], axis=1)
    assert yearly[0] == pytest.approx([730, 730, 0, 0, 0], abs=20)
    assert (yearly[1] > 700).all()


def test_the_horizon_stands_for_a_retirement_nobody_entered_and_only_for_that():
    rows = (fitted(1, ["OLD"] * 4), fitted(2, ["OLD"] * 4, retires_on="2034-01-01"))
    scope = scoped(*rows, horizon_years=3.0)
    yearly = np.diff(scope.cumulative[:, ::12], axis=1)
    assert scope.years == 8
    assert yearly[0, 3:].sum() == pytest.approx(0.0, abs=5)
    assert yearly[1, 7] > 700


def test_growth_compounds_from_the_second_year():
    rows = fitted(1, ["OLD"] * 4, retires_on="2029-01-01")
    plain, grown = (np.diff(scoped(*rows, landings_growth=g).cumulative[0, ::12]) for g in (0.0, 0.1))
    assert grown / plain == pytest.approx([1.0, 1.1, 1.21], rel=1e-9)


def test_life_left_is_the_landings_to_the_limit():
    scope = scoped(*fitted(1, ["OLD"] * 4, retires_on="2030-01-01"))
    assert scope.life_left[0] == pytest.approx((40 - 0.02 * 730) / 0.02, rel=0.05)
