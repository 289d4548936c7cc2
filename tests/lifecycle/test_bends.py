"""Counters that do not grow in proportion to landings, against plain dense normal algebra."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import multivariate_normal

from lifecycle.pathfilter import arrange
from lifecycle.posterior import innovations, of_readings
from lifecycle.wear_fit import fit_readings
from tests.lifecycle.wear_fleet import paths

RUNS, READINGS, EFFECT = 25, 9, 0.012


def counted(seed, *, unknown=False, path_sd=0.05):
    """Readings with one counter that comes in fits and starts; the last three runs may lack their start."""
    rng = np.random.default_rng(seed)
    x, w = paths(rng, RUNS, READINGS, path_sd=path_sd)
    step = np.diff(x, axis=1, prepend=0.0)
    counter = np.cumsum(step * rng.random(x.shape) * (rng.random(x.shape) < 0.5), axis=1)
    known = np.arange(RUNS) < RUNS - (3 if unknown else 0)
    w += EFFECT * counter + np.where(known, 0.0, 1.5)[:, None]
    share = counter[:, -1] / x[:, -1]
    readings = arrange(x, w, known_start=known)
    bent = (counter - share[:, None] * x).T[None]
    z = np.column_stack([np.ones(RUNS), share])
    return replace(readings, bent=bent, bent_columns=(1,)), z, x, w, counter, known


def dense(fit, x, w, counter, known):
    """-2 log REML, coefficients and their covariance from full covariance matrices."""
    weighed, score, rss, logdet = 0.0, 0.0, 0.0, 0.0
    for run in range(RUNS):
        random = np.column_stack([np.full(READINGS, float(not known[run])), x[run]])
        both = fit.start_correlation * fit.start_sd * fit.rate_sd
        spread = np.array([[fit.start_sd**2, both], [both, fit.rate_sd**2]])
        v = random @ spread @ random.T + fit.path_sd**2 * np.minimum.outer(x[run], x[run])
        v += fit.measurement_sd**2 * np.eye(READINGS)
        design = np.column_stack([random, counter[run]])
        weighed = weighed + design.T @ np.linalg.solve(v, design)
        score = score + design.T @ np.linalg.solve(v, w[run])
        rss += w[run] @ np.linalg.solve(v, w[run])
        logdet += np.linalg.slogdet(v)[1]
    some = slice(0, 3) if not known.all() else slice(1, 3)
    weighed, score = weighed[some, some], score[some]
    beta = np.linalg.solve(weighed, score)
    free = x.size - beta.size
    full = logdet + rss - score @ beta
    restricted = full + free * np.log(2 * np.pi) + np.linalg.slogdet(weighed)[1]
    return restricted, full + x.size * np.log(2 * np.pi), beta, np.linalg.inv(weighed)


@pytest.mark.parametrize("unknown", [False, True])
def test_criterion_effects_and_their_errors_are_those_of_the_dense_normal(unknown):
    readings, z, *plain = counted(3, unknown=unknown)
    fit = fit_readings(readings, z)
    criterion, _, beta, covariance = dense(fit, *plain)
    first = 0 if unknown else 1
    assert fit.has_start == unknown
    assert fit.criterion == pytest.approx(criterion, rel=1e-9)
    assert np.append(fit.start_mm, fit.rate)[first:] == pytest.approx(beta, rel=1e-8)
    assert fit.covariance[first:, first:] == pytest.approx(covariance, rel=1e-6)
    assert fit.rate[1] == pytest.approx(EFFECT, abs=3 * np.sqrt(fit.covariance[2, 2]))


def test_the_full_likelihood_is_that_of_the_dense_normal_and_a_maximum():
    readings, z, *plain = counted(4)
    fit = fit_readings(readings, z, restricted=False)
    assert fit.criterion == pytest.approx(dense(fit, *plain)[1], rel=1e-9)
    for name in ("rate_sd", "path_sd", "measurement_sd"):
        for factor in (0.97, 1.03):
            moved = replace(fit, **{name: factor * getattr(fit, name)})
            assert dense(moved, *plain)[1] > fit.criterion


def test_without_path_noise_the_effects_are_those_of_the_reference_library():
    """statsmodels MixedLM, random slope of landings, fixed effects of landings and counter: 1e-6."""
    readings, z, x, w, counter, _ = counted(5, path_sd=0.0)
    fit = fit_readings(readings, z, path_noise=False)
    fixed = np.column_stack([x.ravel(), counter.ravel()])
    model = sm.MixedLM(w.ravel(), fixed, np.repeat(np.arange(RUNS), READINGS), exog_re=x.ravel()[:, None])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it takes a small variance in mm^2 for one at its bound
        theirs = model.fit(reml=True, method=["powell", "bfgs"])
    assert fit.rate == pytest.approx(theirs.fe_params, rel=1e-6)
    assert np.sqrt(np.diag(fit.covariance)[1:]) == pytest.approx(theirs.bse_fe, rel=1e-4)


def test_likelihoods_with_and_without_a_counter_differ_as_the_reference_librarys():
    """statsmodels MixedLM by maximum likelihood, no path noise: 1e-6 of the difference."""
    readings, z, x, w, counter, _ = counted(8, path_sd=0.0)
    straight = replace(readings, bent=np.zeros((0, 0, 0)), bent_columns=())
    ours = [
        fit_readings(one, z[:, :columns], path_noise=False, restricted=False).criterion
        for one, columns in ((readings, 2), (straight, 1))
    ]
    theirs = []
    for fixed in (np.column_stack([x.ravel(), counter.ravel()]), x.ravel()[:, None]):
        groups = np.repeat(np.arange(RUNS), READINGS)
        model = sm.MixedLM(w.ravel(), fixed, groups, exog_re=x.ravel()[:, None])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # as above
            theirs.append(-2 * model.fit(reml=False, method=["powell", "bfgs"]).llf)
    assert ours[1] - ours[0] == pytest.approx(theirs[1] - theirs[0], rel=1e-6)


@pytest.mark.parametrize("unknown", [False, True])
def test_posterior_is_the_conditional_normal_with_the_effects_in_doubt(unknown):
    """Rate and wear now of the last run, coefficients with their covariance drawn into one dense normal."""
    readings, z, x, w, counter, known = counted(6, unknown=unknown)
    fit = fit_readings(readings, z)
    run = RUNS - 1
    state = of_readings(fit, readings.take(np.array([run])), z[[run]], z[[run]])
    share = z[run, 1]
    free = float(not known[run])
    both = fit.start_correlation * fit.start_sd * fit.rate_sd
    # Unknowns: start, rate where the counter stands still, effect of the counter. Doubt about their means comes last.
    mean = np.array([free * fit.start_mm, fit.rate[0], fit.rate[1]])
    own = np.zeros((3, 3))
    own[:2, :2] = [[free * fit.start_sd**2, free * both], [free * both, fit.rate_sd**2]]
    doubt = np.diag([free, 1.0, 1.0]) @ fit.covariance @ np.diag([free, 1.0, 1.0])
    seen = np.column_stack([np.ones(READINGS), x[run], counter[run]])
    now = np.array([[0.0, 1.0, share], [1.0, x[run, -1], counter[run, -1]]])
    path = fit.path_sd**2 * np.minimum.outer(x[run], x[run])
    v = seen @ own @ seen.T + path + fit.measurement_sd**2 * np.eye(READINGS)
    cross, top = now @ own @ seen.T, now @ own @ now.T
    cross[1], top[1, 1] = cross[1] + path[-1], top[1, 1] + path[-1, -1]
    gain = cross @ np.linalg.inv(v)
    lever = now - gain @ seen
    want = top - gain @ cross.T + lever @ doubt @ lever.T
    assert [state.rate[0], state.wear_mm[0]] == pytest.approx(
        now @ mean + gain @ (w[run] - seen @ mean), rel=1e-8
    )
    assert [state.rate_var[0], state.wear_var[0]] == pytest.approx(np.diag(want), rel=1e-6)


def test_innovations_are_standard_normal_and_uncorrelated():
    found = []
    for seed in range(4):
        readings, z, *_ = counted(100 + seed)
        found.append(innovations(fit_readings(readings, z), readings, z))
    away = np.concatenate(found, axis=1)
    assert away.std() == pytest.approx(1.0, abs=0.08)
    assert np.mean(away[1:] * away[:-1]) == pytest.approx(0.0, abs=0.1)


def test_the_dense_normal_of_the_checks_is_the_libraries():
    """The checks' own algebra against scipy's density, one run."""
    _, _, x, w, counter, known = counted(7)
    fit = fit_readings(*counted(7)[:2])
    v = fit.rate_sd**2 * np.outer(x[0], x[0]) + fit.path_sd**2 * np.minimum.outer(x[0], x[0])
    v += fit.measurement_sd**2 * np.eye(READINGS)
    left = w[0] - fit.rate[0] * x[0] - fit.rate[1] * counter[0]
    plain = np.linalg.slogdet(v)[1] + left @ np.linalg.solve(v, left) + READINGS * np.log(2 * np.pi)
    assert known[0]
    assert plain == pytest.approx(-2 * multivariate_normal(cov=v).logpdf(left))
