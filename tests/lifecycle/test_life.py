"""First passage of the limit: against simulation, and what must always hold."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lifecycle.life import Passage, first_passage_cdf

LEVELS = np.array([[0.01], [0.1], [0.5], [0.9], [0.99]])


def law(
    *,
    remaining_mm=20.0,
    rate=0.03,
    rate_sd=0.002,
    path_sd=0.05,
    start_sd=0.15,
    gap=50.0,
    flown=0.0,
    dof=np.inf,
) -> Passage:
    """One brake, the state as it comes out of the fit: V gap^2 in its variance and V gap with the rate."""
    rate_var = rate_sd**2
    values = (
        remaining_mm,
        rate,
        rate_var,
        path_sd,
        start_sd**2 + gap**2 * rate_var,
        gap * rate_var,
        flown,
        dof,
    )
    return Passage(*(np.array([float(value)]) for value in values))


def simulated_landings(rng, *, brakes, remaining_mm, rate, rate_sd, path_sd, start_sd, gap, flown):
    """Landings from now until each path first passes the limit; only brakes still fitted count."""
    m = rng.normal(rate, rate_sd, brakes)
    left = remaining_mm - (m - rate) * gap + rng.normal(0, start_sd, brakes)
    passed = np.where(left > 0, np.inf, 0.0)
    for landing in range(1, 1600):
        before = left
        left = before - m - path_sd * rng.standard_normal(brakes)
        between = rng.random(brakes) < np.exp(-2 * np.maximum(before * left, 0) / path_sd**2)
        now = ((left <= 0) | between) & np.isinf(passed)
        passed[now] = landing - rng.random(now.sum())
    return passed[passed > flown] - flown


@pytest.mark.parametrize(
    "case",
    [
        pytest.param({"remaining_mm": 20.0, "gap": 50.0, "flown": 0.0}, marks=pytest.mark.long),
        {"remaining_mm": 20.0, "gap": 50.0, "flown": 620.0},
        pytest.param({"remaining_mm": 1.5, "gap": 0.0, "flown": 0.0}, marks=pytest.mark.long),
        {"remaining_mm": 0.2, "gap": 30.0, "flown": 5.0},
    ],
)
def test_quantiles_agree_with_paths_simulated_landing_by_landing(case):
    seed = 20261
    noise = {"rate": 0.03, "rate_sd": 0.002, "path_sd": 0.05, "start_sd": 0.15}
    landings = simulated_landings(np.random.default_rng(seed), brakes=20_000, **noise, **case)
    quantiles = law(**noise, **case).landings(LEVELS)[:, 0]
    shares = np.array([np.mean(landings <= q) for q in quantiles])
    np.testing.assert_allclose(shares, LEVELS[:, 0], atol=0.03, err_msg=f"seed {seed}, {case}")


def hundredths(least, most):
    """Numbers as they are written down, not as floats can be."""
    return st.integers(round(100 * least), round(100 * most)).map(lambda number: number / 100)


def brake_laws(*, flown_most, least_left_mm, most_gap=500):
    """Brakes as they occur and somewhat beyond: a rate known within a sixth, no path noise to a lot."""
    rates = st.tuples(hundredths(0.01, 0.2), st.sampled_from([0.0, 0.01, 0.05, 0.1, 1 / 6]))
    return st.builds(
        lambda rate, **rest: law(rate=rate[0], rate_sd=rate[0] * rate[1], **rest),
        rates,
        remaining_mm=hundredths(least_left_mm, 60),
        path_sd=st.sampled_from([0.0, 1e-6, 0.01, 0.05, 0.3]),
        start_sd=st.sampled_from([0.0, 0.05, 0.5]),
        gap=hundredths(0, most_gap),
        flown=hundredths(0, flown_most),
        dof=st.sampled_from([3.0, 30.0, np.inf]),
    )


@given(brake_laws(flown_most=3000, least_left_mm=-1), st.floats(0.001, 0.999))
def test_quantile_is_where_the_chance_reaches_the_level(brake, level):
    quantile = brake.landings(level)
    certain = (
        brake.rate_var[0] < (1e-3 * brake.rate[0]) ** 2 and brake.path_sd[0] < 0.02
    )  # a step has no such place
    if 1 < quantile[0] < np.inf and not certain and brake.passed()[0] < 0.999:
        assert brake.chance(quantile)[0] == pytest.approx(level, abs=1e-5)


@given(brake_laws(flown_most=3000, least_left_mm=-1))
def test_chance_never_falls_and_quantiles_are_in_order(brake):
    landings = np.geomspace(1, 1e5, 60)
    chance = np.array([brake.chance(n)[0] for n in landings])
    assert np.all((chance >= 0) & (chance <= 1))
    quantiles = brake.landings(LEVELS)[:, 0]
    assert np.all(quantiles[1:] >= quantiles[:-1] * (1 - 1e-6) - 1e-3)
    assert np.all(quantiles >= 0)


@given(brake_laws(flown_most=0, least_left_mm=6, most_gap=20), hundredths(0, 5))
def test_more_wear_left_is_never_due_sooner(brake, more):
    longer = replace(brake, remaining_mm=brake.remaining_mm + more)
    assert np.all(longer.landings(LEVELS) >= brake.landings(LEVELS) * (1 - 1e-6) - 1e-3)


def test_brake_that_can_hardly_be_fitted_any_more_is_due_now():
    worn_out = law(remaining_mm=1.0, flown=2000.0)
    assert worn_out.passed()[0] == pytest.approx(1.0)
    np.testing.assert_array_equal(worn_out.landings(LEVELS), 0.0)
    assert worn_out.chance(0.0)[0] == 1.0


def test_brake_that_does_not_wear_never_reaches_the_limit():
    np.testing.assert_array_equal(
        law(rate=0.0, rate_sd=0.0, path_sd=0.0, start_sd=0.0).landings(LEVELS), np.inf
    )


def test_knowing_that_it_is_still_fitted_moves_the_forecast_later():
    ignorant = law(flown=0.0).landings(0.5) - 640
    assert law(flown=640.0).landings(0.5) > ignorant > 0


@pytest.mark.parametrize("dof", [3, 5, 30])
def test_few_degrees_of_freedom_widen_as_students_t_does(dof):
    """With a straight line and D far off, n is linear in the score: quantiles are those of Student's t."""
    far = {"remaining_mm": 1e4, "rate": 10.0, "rate_sd": 0.0, "path_sd": 1e-9, "start_sd": 1.0, "gap": 0.0}
    score = (law(**far, dof=dof).landings(LEVELS)[:, 0] - 1000) * 10
    np.testing.assert_allclose(score, stats.t.ppf(LEVELS[:, 0], dof), rtol=0.025, atol=1e-6)


def test_level_of_certainty_is_refused():
    with pytest.raises(ValueError, match="between 0 and 1"):
        law().landings(1.0)


def test_ordinary_values_do_not_overflow():
    steep = first_passage_cdf([1.0, 1e3, 1e6], remaining_mm=50.0, rate=-0.05, rate_var=1e-8, path_sd=0.001)
    np.testing.assert_allclose(steep, 0.0, atol=1e-12)
    smooth = first_passage_cdf([1.0, 1e3, 1e6], remaining_mm=50.0, rate=0.05, rate_var=1e-2, path_sd=1e-9)
    assert np.all(np.isfinite(smooth))
