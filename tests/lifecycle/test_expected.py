"""The law of the next reading: against the wear fit itself, on good readings, and where nothing is known."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle.expected import (
    PinState,
    Step,
    carried_on,
    law_of_reading,
    rule_of_thumb,
    state_at_start,
    states_of,
)
from lifecycle.installed import law_of
from lifecycle.left_now import landings_left
from lifecycle.plausible import LOOK_AGAIN, Typed, judge
from lifecycle.wear import fit_fleet, prior_rate, refresh
from tests.lifecycle.checked_fleet import NEW_MM, next_readings, pin_state, with_days
from tests.lifecycle.wear_fleet import Brake, paths, runs_of

SEEDS = range(20261125, 20261129)


def fleet(x, w, readings):
    many = [
        Brake(tuple(a[:readings]), tuple(b[:readings]), start_mm=NEW_MM) for a, b in zip(x, w, strict=True)
    ]
    return with_days(runs_of(many))


def test_on_good_readings_fewer_than_one_in_a_hundred_is_asked_about():
    """Recovery of known truth: invented fleets drawn from the model, seeds 20261125 to 20261128."""
    verdicts = [judge(Typed(each.text, "mm"), each.against) for seed in SEEDS for each in next_readings(seed)]
    asked = sum(each.verdict == LOOK_AGAIN for each in verdicts) / len(verdicts)
    noted = sum(each.verdict != "as expected" for each in verdicts) / len(verdicts)
    assert asked < 0.01
    assert 0.02 < noted < 0.06


def test_a_reading_carried_on_gives_what_the_fit_refreshed_gives():
    """Slow plain reference: the wear fit's own posterior with the reading in it."""
    x, w = paths(np.random.default_rng(7), 60, 6)
    w = np.round(w, 1)
    before, after = fleet(x, w, 5), fleet(x, w, 6)
    fit = fit_fleet(before)
    kept = states_of(before, fit).set_index("brake")
    post = refresh(fit, after)
    for number in range(60):
        step = Step(x[number, 5] - x[number, 4], left_mm=NEW_MM - w[number, 5])
        now = carried_on(pin_state(kept.loc[number]), [step])
        assert now.left_mm == pytest.approx(NEW_MM - post["wear_mm"][number], abs=0.02)
        assert now.rate_mm == pytest.approx(post["rate_mm"][number], rel=0.01)
        assert now.rate_var == pytest.approx(post["rate_var"][number], rel=0.05)
        assert now.left_var == pytest.approx(post["wear_var"][number], rel=0.05)
        left, told = landings_left(now, 10.0), post.iloc[[number]]
        at_limit = pd.DataFrame({"limit_wear_mm": [NEW_MM - 10.0], "flown": [0.0]}, index=told.index)
        law = law_of(at_limit, told)
        assert [left.p10, left.p50, left.p90] == pytest.approx(
            law.landings(np.array([[0.1], [0.5], [0.9]]))[:, 0].tolist(), rel=0.02
        )


def test_a_brake_never_read_is_expected_by_its_type():
    x, w = paths(np.random.default_rng(3), 40, 6)
    fit = fit_fleet(fleet(x, w, 6))
    state = state_at_start(prior_rate(fit, "BT-1", "in", "A"), NEW_MM, NEW_MM)
    low, high = law_of_reading(state, Step(100.0)).band(0.95)
    assert low < NEW_MM - 3.0 < high
    assert 1.0 < high - low < 8.0


def test_with_no_fit_and_no_start_anything_between_nothing_and_new_is_expected():
    law = law_of_reading(state_at_start(rule_of_thumb(), None, NEW_MM), Step(0.0))
    low, high = law.band(0.95)
    assert low <= 0.0
    assert high >= NEW_MM


def test_unreported_days_widen_the_range_and_a_re_shim_lifts_it():
    state = state_at_start(rule_of_thumb(), NEW_MM, NEW_MM)
    told, unsure = (law_of_reading(state, Step(100.0, landings_sd=sd)) for sd in (0.0, 200.0))
    assert unsure.sd_mm > told.sd_mm
    lifted = law_of_reading(state, Step(100.0, shim_mm=6.0, shim_sd_mm=1.0))
    assert lifted.middle_mm == pytest.approx(told.middle_mm + 6.0)
    assert lifted.sd_mm > told.sd_mm


def test_tails_are_told_with_three_degrees_of_freedom_at_least():
    state = PinState(30.0, 0.04, 0.03, 1e-6, 0.0, 0.05, 0.2, 0.5, "estimated")
    low, high = law_of_reading(state, Step(0.0)).band(0.99)
    assert high - low < 4.0


def test_one_slip_on_record_moves_nothing_and_two_in_a_row_set_the_level():
    state = PinState(30.0, 0.04, 0.03, 1e-6, -1e-6, 0.05, 0.2, 50.0, "estimated")
    once = carried_on(state, [Step(10.0, left_mm=3.0)])
    assert once.left_mm == pytest.approx(29.7)
    twice = carried_on(state, [Step(10.0, left_mm=20.0), Step(10.0, left_mm=19.8)])
    assert twice.left_mm == pytest.approx(19.8)


states = st.builds(
    PinState,
    left_mm=st.floats(0, 100),
    left_var=st.floats(0, 10),
    rate_mm=st.floats(0, 1),
    rate_var=st.floats(0, 0.1),
    both=st.just(0.0),
    path_sd=st.floats(0, 1),
    measurement_sd=st.floats(0.01, 1),
    dof=st.one_of(st.floats(0.1, 1e6), st.just(np.inf)),
    kind=st.just("estimated"),
)
steps = st.lists(
    st.builds(
        Step,
        landings=st.floats(-500, 5000),
        landings_sd=st.floats(0, 500),
        left_mm=st.one_of(st.none(), st.floats(0, 100)),
        resolution_mm=st.floats(0, 1),
    ),
    max_size=5,
)


@given(states, steps, st.floats(-500, 5000))
def test_every_law_is_finite_and_its_ranges_are_nested(state, history, landings):
    law = law_of_reading(carried_on(state, history), Step(landings, resolution_mm=0.1))
    low, high = law.band(0.95)
    wide_low, wide_high = law.band(0.99)
    assert np.isfinite([low, high, wide_low, wide_high]).all()
    assert wide_low <= low <= high <= wide_high
