"""Weibull lives: recovered truth with censoring and late entry, and where a belief leads."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import weibull_min

from lifecycle.errors import NotEnoughDataError
from lifecycle.weibull import Belief, common_shape, fit_weibull


@pytest.mark.parametrize("unit", [1e-3, 1.0, 1e4])
def test_truth_is_recovered_from_censored_lives_in_any_unit(unit):
    """Invented: shape 2, scale 1000, watched for a random time."""
    rng = np.random.default_rng(7)
    lives = 1000 * unit * rng.weibull(2.0, 20_000)
    ends = 1200 * unit * rng.random(20_000)
    fit = fit_weibull(np.minimum(lives, ends), lives <= ends)
    assert fit.shape == pytest.approx(2.0, rel=0.02)
    assert fit.scale == pytest.approx(1000 * unit, rel=0.02)
    assert fit.shape_low < 2.0 < fit.shape_high


@pytest.mark.parametrize("shape", [0.7, 1.0, 2.5])
def test_lives_that_came_under_watch_late_do_not_bias_the_shape(shape):
    """Invented: brakes fitted before the records begin are seen only if they lasted until then."""
    rng = np.random.default_rng(8)
    lives, entered = 1000 * rng.weibull(shape, 60_000), rng.uniform(0, 900, 60_000)
    entered[:20_000] = 0
    seen = lives > entered
    lives, entered = lives[seen], entered[seen]
    ends = entered + rng.uniform(0, 800, lives.size)
    watched, failed = np.minimum(lives, ends), lives <= ends
    fit = fit_weibull(watched, failed, entered=entered)
    assert fit.shape == pytest.approx(shape, rel=0.03)
    assert fit.scale == pytest.approx(1000, rel=0.03)
    blind = fit_weibull(watched, failed)
    assert abs(blind.shape - shape) > 0.05


def test_late_entry_is_the_likelihood_of_the_definition():
    """Slow plain reference: hazard at the end over survival from entry, maximised by scipy from its own densities."""
    rng = np.random.default_rng(9)
    entered = rng.uniform(0, 300, 40)
    lives = entered + rng.uniform(10, 700, 40)
    failed = rng.random(40) < 0.5

    def against(at):
        law = weibull_min(np.exp(at[0]), scale=np.exp(at[1]))
        ended = np.where(failed, law.logpdf(lives), law.logsf(lives))
        return -(ended - law.logsf(entered)).sum()

    best = minimize(against, [0.0, 6.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    fit = fit_weibull(lives, failed, entered=entered)
    assert [fit.shape, fit.scale] == pytest.approx(np.exp(best.x), rel=1e-6)
    assert fit.log_likelihood == pytest.approx(-best.fun, rel=1e-10)


def test_shape_intervals_hold_the_truth_eight_times_in_ten():
    """Recovery over 400 invented fleets of 30 ends each, seeds 0-399; binomial band of four standard errors."""
    held = 0
    for seed in range(400):
        lives = 1000 * np.random.default_rng(seed).weibull(1.5, 60)
        fit = fit_weibull(np.minimum(lives, 800), lives <= 800)
        held += fit.shape_low <= 1.5 <= fit.shape_high
    assert 0.72 < held / 400 < 0.88


def test_one_ended_life_is_too_few():
    with pytest.raises(NotEnoughDataError, match="found 1 different"):
        fit_weibull([100.0, 200.0, 200.0], [True, False, False])


def test_nothing_watched_is_refused():
    with pytest.raises(NotEnoughDataError, match="nothing was watched"):
        fit_weibull([100.0, 200.0], [True, True], entered=[100.0, 200.0], belief=Belief(shape_sd=0.5))


def test_without_ends_the_belief_stands_and_the_life_is_exponential():
    """Expected 3, counting as 2: none seen in that exposure makes 3 x 2 / 5 ends."""
    belief = Belief(1.0, 0.5, expected=3.0, weight=2.0)
    fit = fit_weibull(np.full(10, 500.0), np.zeros(10, dtype=bool), belief=belief)
    assert fit.shape == pytest.approx(1.0, abs=1e-6)
    assert 5000 / fit.scale == pytest.approx(3 * 2 / 5)
    assert fit.shape_low == pytest.approx(np.exp(-1.2816 * 0.5), rel=1e-3)


def test_many_ends_outvote_a_belief():
    rng = np.random.default_rng(3)
    lives = 1000 * rng.weibull(3.0, 4000)
    free = fit_weibull(lives, np.ones(4000, dtype=bool))
    held = fit_weibull(lives, np.ones(4000, dtype=bool), belief=Belief(1.0, 0.5, expected=1.0, weight=2.0))
    assert held.shape == pytest.approx(free.shape, rel=0.01)


def test_groups_of_different_scale_share_a_shape():
    """Invented: pooled without their scales apart, two fleets of shape 3 would look like one of shape below 2."""
    rng = np.random.default_rng(4)
    groups = [
        (np.zeros(3000), scale * rng.weibull(3.0, 3000), np.ones(3000, dtype=bool)) for scale in (300, 3000)
    ]
    shape, sd = common_shape(groups, Belief())
    assert shape == pytest.approx(3.0, rel=0.03)
    assert 0 < sd < 0.02
