"""Slips of the pen: each kind is what it says, big enough to matter, and can stand on a sheet."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from seed_data.slips import MISTYPED, NEIGHBOUR, make_slips


@pytest.fixture
def sheets():
    """Readings of pairs of brakes of one aircraft, each pair on a day of its own."""
    rows = np.arange(400)
    pins = 12.1 + (rows * 7 % 230) / 10
    return pd.DataFrame(
        {
            "occasion": "routine",
            "unit": "mm",
            "new": 38.0,
            "aircraft": 1,
            "day": rows // 2,
            "pin_1": [f"{pin:.1f}" for pin in pins],
            "pin_2": [f"{pin + 0.6:.1f}" for pin in pins],
        }
    )


@pytest.fixture
def spoilt(scenario, sheets):
    """The same readings with half of them spoilt where their kind allows, beside what they were."""
    always = replace(scenario, readings=replace(scenario.readings, slip_share=0.5))
    after = sheets.copy()
    make_slips(always, after, np.random.default_rng(3))
    return after.assign(was=sheets["pin_1"].astype(float), now=after["pin_1"].astype(float))


def test_every_kind_of_slip_occurs(spoilt):
    assert set(spoilt["slip"]) - {""} == {*MISTYPED, NEIGHBOUR}


def test_an_inch_typed_as_mm_is_25_times_too_short(spoilt):
    rows = spoilt[spoilt["slip"] == "inch as mm"]
    assert (rows["was"] / rows["now"]).to_numpy() == pytest.approx(25.4, rel=0.002)


def test_a_decimal_point_one_place_off_makes_a_tenth(spoilt):
    rows = spoilt[spoilt["slip"] == "decimal point"]
    assert (rows["was"] / rows["now"]).to_numpy() == pytest.approx(10)


def test_swapped_digits_are_the_same_digits(spoilt):
    rows = spoilt[spoilt["slip"] == "swapped digits"]
    digits = rows["was"].map("{:.1f}".format).map(sorted)
    assert digits.tolist() == rows["pin_1"].map(sorted).tolist()


def test_the_neighbours_reading_stands_in_the_wrong_line(spoilt, sheets):
    rows = spoilt.index[(spoilt["slip"] == NEIGHBOUR)]
    pairs = [row for row in rows if row % 2 == 0 and row + 1 in rows]
    assert pairs
    swapped = [spoilt.loc[row, "pin_1"] in sheets.loc[[row, row + 1], "pin_1"].tolist() for row in pairs]
    assert np.mean(swapped) > 0.5


def test_no_slip_is_longer_than_new_or_too_small_to_matter(spoilt, sheets):
    pins = ["pin_1", "pin_2"]
    mistyped = spoilt[spoilt["slip"].isin(MISTYPED)]
    now, was = mistyped[pins].astype(float), sheets.loc[mistyped.index, pins].astype(float)
    assert ((now >= 0) & (now <= 38.0)).all(axis=None)
    assert ((now - was).abs().max(axis=1) > 2).all()


def test_few_readings_are_spoilt_in_the_demo(scenario, sheets):
    after = pd.concat([sheets] * 20, ignore_index=True)
    make_slips(scenario, after, np.random.default_rng(3))
    assert 0.001 < (after["slip"] != "").mean() < 0.01
