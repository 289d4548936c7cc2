"""Scores against closed forms, a library and definitions."""

import numpy as np
import pytest
import scoringrules
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from lifecycle import score


def test_crps_of_a_normal_forecast():
    """CRPS of N(0.3, 1.7^2) at 1.1 is 0.5447600097976222; scoringrules and closed form."""
    assert float(score.crps_normal(1.1, mean=0.3, sd=1.7)) == pytest.approx(0.5447600097976222, abs=1e-15)
    assert float(scoringrules.crps_normal(1.1, 0.3, 1.7)) == pytest.approx(0.5447600097976222, abs=1e-12)


def test_crps_of_a_sample_is_the_library_s():
    """scoringrules.crps_ensemble, the estimator with all pairs."""
    rng = np.random.default_rng(3)
    observed, sample = rng.normal(size=40), rng.gamma(2.0, size=(40, 17))
    expected = scoringrules.crps_ensemble(observed, sample, estimator="nrg")
    np.testing.assert_allclose(score.crps_sample(observed, sample), expected, rtol=1e-12)


def test_crps_of_even_quantiles_approaches_that_of_their_law():
    levels = (np.arange(2000) + 0.5) / 2000
    quantiles = stats.norm.ppf(levels, 0.3, 1.7)[None, :]
    found = score.crps_sample([1.1], quantiles)
    np.testing.assert_allclose(found, score.crps_normal(1.1, mean=0.3, sd=1.7), rtol=2e-4)


def test_interval_score_of_the_definition():
    """y 5, interval 1..4, alpha 0.2: 3 + 2 / 0.2 * 1 = 13; Gneiting and Raftery 2007, definition."""
    assert float(score.interval_score(5, 1, 4)) == pytest.approx(13, abs=1e-12)
    assert float(score.interval_score(0, 1, 4)) == pytest.approx(13, abs=1e-12)
    assert float(score.interval_score(2, 1, 4)) == 3


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0.01, 0.99))
def test_pinball_is_the_library_s(observed, quantile, level):
    """scoringrules.quantile_score."""
    expected = float(scoringrules.quantile_score(observed, quantile, level))
    assert float(score.pinball(observed, quantile, level=level)) == pytest.approx(expected, abs=1e-12)


def test_the_right_forecast_scores_best_in_the_mean():
    rng = np.random.default_rng(11)
    observed = rng.normal(0, 1, 20_000)
    crps = {
        (mean, sd): score.crps_normal(observed, mean=mean, sd=sd).mean()
        for mean in (-0.2, 0, 0.2)
        for sd in (0.8, 1, 1.25)
    }
    assert min(crps, key=crps.get) == (0, 1)
    assert crps[0, 1] == pytest.approx(1 / np.sqrt(np.pi), rel=0.01)
    wide = {q: score.pinball(observed, q, level=0.9).mean() for q in (1.0, stats.norm.ppf(0.9), 1.6)}
    assert min(wide, key=wide.get) == stats.norm.ppf(0.9)


def test_coverage_counts_the_ends():
    assert score.coverage([1, 2, 3, 4], [1, 1, 1, 1], [3, 3, 3, 3]) == 0.75


def test_shares_of_calibrated_probabilities_are_even():
    shares = score.pit_shares(np.random.default_rng(5).random(50_000))
    assert sum(shares) == pytest.approx(1)
    np.testing.assert_allclose(shares, 0.1, atol=0.006)
    assert score.pit_shares([0.0, 1.0, 0.55]) == pytest.approx((1 / 3, 0, 0, 0, 0, 1 / 3, 0, 0, 0, 1 / 3))


@pytest.mark.parametrize(("events", "trials"), [(0, 7), (3, 120), (9, 9)])
def test_range_of_a_share_is_the_library_s(events, trials):
    """Reference: statsmodels."""
    theirs = proportion_confint(events, trials, alpha=0.2, method="wilson")
    assert score.wilson(events, trials) == pytest.approx(theirs, abs=1e-12)
