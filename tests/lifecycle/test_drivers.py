"""Draws, swings and the point where the answer turns."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle.drivers import (
    WEAR,
    WEAR_RATIO,
    Driver,
    Input,
    draw,
    drivers_of,
    ranged,
    spread,
    swing,
    turning_point,
)
from tests.priced import assumption

KIT = assumption("kit_cost", 100.0, low=90.0, high=130.0)
RATE = assumption("fuel_escalation", 0.0, "1", low=-0.01, high=0.02)
INPUTS = (*ranged([KIT, RATE]), Input("wear", 0.03, 0.028, 0.033, part=WEAR))


def test_draws_have_the_middle_and_the_tenths_that_were_entered():
    sample = draw(INPUTS, np.random.default_rng(7), 200_000)
    for values, wanted in (
        (sample.settings[KIT], (90.0, 100.0, 130.0)),
        (sample.settings[RATE], (-0.01, 0.0, 0.02)),
        (sample.wear * 0.03, (0.028, 0.03, 0.033)),
    ):
        assert np.quantile(values, [0.1, 0.5, 0.9]) == pytest.approx(wanted, abs=0.01 * np.ptp(wanted))


def test_the_same_seed_draws_the_same():
    one, two = (draw(INPUTS, np.random.default_rng(3), 100).settings[KIT] for _ in range(2))
    assert (one == two).all()


def test_a_cost_is_never_drawn_below_zero_and_a_growth_may_be():
    wide = ranged([assumption("downtime_cost", 10.0, low=1.0, high=30.0)])[0]
    assert spread(wide, np.array([-4.0])) == 0.0
    assert spread(INPUTS[1], np.array([-4.0])) < 0.0


def test_a_swing_moves_one_input_at_a_time():
    sample = swing(INPUTS)
    assert sample.settings[KIT].tolist() == [100, 90, 130, 100, 100, 100, 100]
    assert sample.settings[RATE].tolist() == [0, 0, 0, -0.01, 0.02, 0, 0]
    assert (np.asarray(sample.wear) * 0.03).tolist() == pytest.approx([0.03] * 5 + [0.028, 0.033])
    assert sample.wear_ratio == 1.0


def test_what_has_no_range_is_no_input():
    assert not ranged([assumption("kit_cost", 1.0), assumption("kit_hours", 5.0, "h", low=5.0, high=5.0)])
    assert (
        ranged([assumption("shipping_cost", 9.0, low=8.0, high=10.0, base="Away")])[0].name
        == "shipping_cost Away"
    )


@given(st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), min_size=1, max_size=12))
def test_drivers_are_the_seven_widest_widest_first(pairs):
    inputs = tuple(Input(f"input {n}", 1.0, 0.5, 2.0, part=WEAR_RATIO) for n in range(len(pairs)))
    found = drivers_of(inputs, np.array([0.0, *(end for pair in pairs for end in pair)]))
    widths = [abs(one.npv_high - one.npv_low) for one in found]
    assert len(found) == min(len(pairs), 7)
    assert widths == sorted(widths, reverse=True)
    assert widths[0] == pytest.approx(max(abs(high - low) for low, high in pairs))


def test_the_turning_point_lies_where_the_result_is_zero():
    driver = Driver("kit_cost", 50.0, 200.0, 50.0, -100.0)
    assert turning_point(driver, 100.0, 20.0) == pytest.approx(100 + 100 * 20 / 120)
    assert turning_point(driver, 100.0, -10.0) == pytest.approx(100 - 50 * 10 / 60)


def test_a_result_that_keeps_its_sign_has_no_turning_point():
    assert turning_point(Driver("kit_cost", 50.0, 200.0, 50.0, 10.0), 100.0, 20.0) is None
