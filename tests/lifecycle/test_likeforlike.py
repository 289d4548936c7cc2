"""Like for like: overlap, extrapolation, intervals, edges."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle.errors import NotEnoughDataError
from lifecycle.likeforlike import fit_log_rate, like_for_like


def flown(*rows):
    return pd.DataFrame(rows, columns=["aircraft", "brake_type", "base", "landings", "wear_mm"])


def compare(frame, **choices):
    return like_for_like(frame, reference="old", other="new", factors=["base"], **choices)


BALANCED = [
    (1, "old", "A", 1000, 30.0),
    (2, "old", "B", 1000, 45.0),
    (3, "old", "A", 800, 25.0),
    (4, "new", "A", 1000, 15.5),
    (5, "new", "B", 500, 11.0),
    (6, "new", "B", 900, 20.0),
]


@given(st.floats(0.1, 10), st.floats(0.1, 10))
def test_ratio_takes_no_notice_of_the_unit_of_landings_and_follows_the_wear_of_one_type(count, wear):
    frame = flown(*BALANCED)
    scaled = frame.assign(
        landings=frame["landings"] * count,
        wear_mm=frame["wear_mm"] * np.where(frame["brake_type"] == "new", wear, 1.0),
    )
    assert compare(scaled).ratio == pytest.approx(wear * compare(frame).ratio, rel=1e-6)


def test_the_other_way_round_with_main_effects_is_the_inverse():
    frame = flown(*BALANCED)
    there = compare(frame, interactions=False).ratio
    back = like_for_like(frame, reference="new", other="old", factors=["base"], interactions=False).ratio
    assert there * back == pytest.approx(1.0, rel=1e-9)


def test_splitting_a_stretch_in_two_changes_nothing():
    whole = flown(*BALANCED)
    split = flown(*BALANCED[1:], (1, "old", "A", 400, 12.0), (1, "old", "A", 600, 18.0))
    assert compare(split).ratio == pytest.approx(compare(whole).ratio, rel=1e-9)
    assert compare(split).low == pytest.approx(compare(whole).low, rel=1e-9)


def test_a_base_flown_by_one_type_only_is_left_out_and_flagged():
    lonely = flown(*BALANCED, (7, "new", "C", 5000, 500.0))
    found = compare(lonely)
    assert found.ratio == pytest.approx(compare(flown(*BALANCED)).ratio, rel=1e-9)
    assert "base C is flown on new only" in found.warnings[0]
    assert "extrapolation" in found.warnings[0]


def test_types_that_share_no_base_have_no_ratio():
    found = compare(flown((1, "old", "A", 1000, 30.0), (2, "new", "B", 1000, 20.0)))
    assert found.ratio is None
    assert found.warnings == (
        "new and old share no base",
        "no like-for-like comparison of new with old: no landings in common",
    )


def test_a_type_without_wear_has_no_ratio():
    found = compare(flown((1, "old", "A", 1000, 30.0), (2, "new", "A", 1000, 0.0)))
    assert found.ratio is None


def test_three_aircraft_have_a_ratio_and_no_interval():
    found = compare(flown(*BALANCED[:1], *BALANCED[3:4], (8, "old", "A", 500, 16.0)))
    assert found.ratio is not None
    assert (found.low, found.high, found.aircraft) == (None, None, 3)
    assert "at least 4" in found.warnings[-1]


def test_a_type_on_one_aircraft_only_has_no_interval():
    frame = flown(*BALANCED[:3], (9, "old", "A", 700, 22.0), BALANCED[3])
    assert compare(frame).low is None


def test_interval_widens_with_the_level_and_holds_the_ratio():
    narrow, wide = (compare(flown(*BALANCED), level=level) for level in (0.5, 0.95))
    assert wide.low < narrow.low < narrow.ratio < narrow.high < wide.high


def test_a_large_fleet_is_left_out_in_groups_with_about_the_same_interval():
    rng = np.random.default_rng(4)
    rows = [
        (number, kind, "A", 1000.0, rate * 1000 * rng.normal(1, 0.1))
        for number, (kind, rate) in enumerate([("old", 0.03), ("new", 0.02)] * 300)
    ]
    found = compare(flown(*rows))
    assert found.aircraft == 600
    expected = 2 * 1.2816 * 0.1 * np.sqrt(2 / 300)
    assert np.log(found.high / found.low) == pytest.approx(expected, rel=0.15)


def test_a_duplicate_factor_changes_nothing():
    frame = flown(*BALANCED).assign(twin=lambda f: f["base"] + "'")
    found = like_for_like(frame, reference="old", other="new", factors=["base", "twin"])
    assert found.ratio == pytest.approx(compare(flown(*BALANCED)).ratio, rel=1e-9)


def test_a_rate_model_with_a_group_that_never_wears_says_so():
    x = np.array([[1.0, 0.0], [1.0, 1.0]])
    with pytest.raises(NotEnoughDataError, match="does not settle"):
        fit_log_rate(x, np.array([100.0, 100.0]), np.array([3.0, 0.0]))


def test_three_aircraft_that_hold_both_types_between_them_have_no_interval():
    both = [(1, "old", "A", 900, 27.0), (2, "new", "A", 800, 13.0), (3, "old", "A", 500, 16.0)]
    found = compare(flown(*both, (3, "new", "A", 500, 8.0)))
    assert (found.low, found.high) == (None, None)
