"""The path through the readings of one run, against the filter and at its edges."""

from dataclasses import replace

import numpy as np
import pytest

from lifecycle.posterior import posterior
from lifecycle.trace import trace_wear
from lifecycle.wear import PriorRate
from lifecycle.wear_fit import fit_wear

PRIOR = PriorRate(
    rate_mm=0.03, rate_var=9e-6, path_sd=0.05, measurement_sd=0.15, dof=np.inf, kind="estimated"
)


def read(seed=2, count=12):
    rng = np.random.default_rng(seed)
    landings = np.cumsum(rng.integers(20, 90, count)).astype(float)
    steps = np.diff(landings, prepend=0.0)
    wear = np.cumsum(rng.normal(0.031 * steps, 0.05 * np.sqrt(steps)))
    return landings, wear + rng.normal(0, 0.15, count)


def test_last_point_is_where_the_forecast_starts():
    """Slow plain reference both ways: the filter of the fit and this regression see the same wear."""
    runs = [read(seed) for seed in range(40)]
    x, y = np.array([run[0] for run in runs]), np.array([run[1] for run in runs])
    fit = replace(fit_wear(x, y, design=np.ones((40, 1))), covariance=np.zeros((2, 2)))
    state = posterior(fit, x, y, design=np.ones((40, 1)))
    prior = PriorRate(
        float(fit.rate[0]),
        fit.rate_sd**2,
        fit.path_sd,
        fit.measurement_sd,
        np.inf,
        "",
    )
    for run in range(40):
        last = trace_wear(
            x[run, -1:],
            landings=x[run],
            wear_mm=y[run],
            prior=prior,
            known_start=True,
            measurement_sd=fit.measurement_sd,
        )
        assert last.wear_mm[0] == pytest.approx(state.wear_mm[run], abs=1e-6)
        assert last.sd_mm[0] ** 2 == pytest.approx(state.wear_var[run], rel=1e-6)


def test_known_start_is_certain_and_the_band_opens_away_from_readings():
    landings, wear = read()
    at = np.array([0.0, landings[0] / 2, landings[5], landings[-1], landings[-1] + 500])
    trace = trace_wear(
        at, landings=landings, wear_mm=wear, prior=PRIOR, known_start=True, measurement_sd=0.15
    )
    assert trace.wear_mm[0] == pytest.approx(0, abs=1e-9)
    assert trace.sd_mm[0] == pytest.approx(0, abs=1e-6)
    assert trace.sd_mm[2] < 0.15
    assert trace.sd_mm[4] > trace.sd_mm[3]


def test_unknown_start_follows_the_readings_at_whatever_level_they_are():
    landings, wear = read()
    low = trace_wear(
        landings, landings=landings, wear_mm=wear, prior=PRIOR, known_start=False, measurement_sd=0.15
    )
    high = trace_wear(
        landings, landings=landings, wear_mm=wear + 7, prior=PRIOR, known_start=False, measurement_sd=0.15
    )
    np.testing.assert_allclose(high.wear_mm - low.wear_mm, 7, atol=1e-3)


def test_without_readings_the_type_s_rate_is_all_that_is_known():
    at, none = np.array([0.0, 100.0]), np.zeros(0)
    trace = trace_wear(at, landings=none, wear_mm=none, prior=PRIOR, known_start=True, measurement_sd=0.15)
    np.testing.assert_allclose(trace.wear_mm, [0.0, 3.0])
    np.testing.assert_allclose(trace.sd_mm**2, [0.0, 9e-6 * 100**2 + 0.05**2 * 100])
