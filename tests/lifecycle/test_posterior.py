import numpy as np
import pytest

from lifecycle.pathfilter import arrange, filter_path, filter_steps
from lifecycle.posterior import innovations, posterior
from lifecycle.wear_fit import fit_wear
from tests.lifecycle.wear_fleet import paths

ONES = np.ones((20, 1))


def dense_state(fit, x, w, run, *, known, ahead):
    """Mean and variance of wear `ahead` landings after the last reading, were the path smooth."""
    both = fit.start_correlation * fit.start_sd * fit.rate_sd
    spread = np.array([[fit.start_sd**2, both], [both, fit.rate_sd**2]])
    beta, parameters = np.array([fit.start_mm, fit.rate[0]]), fit.covariance
    seen = np.isfinite(x[run]) & np.isfinite(w[run])
    xs, ys = x[run, seen], w[run, seen]
    own = np.column_stack([np.full_like(xs, not known[run]), xs])
    covariance = own @ spread @ own.T + fit.path_sd**2 * np.minimum.outer(xs, xs)
    covariance += fit.measurement_sd**2 * np.eye(xs.size)
    then = np.array([float(not known[run]), xs[-1] + ahead])
    cross = own @ spread @ then + fit.path_sd**2 * np.minimum(xs, xs[-1])
    inverse = np.linalg.inv(covariance)
    lever = then - own.T @ inverse @ cross
    variance = then @ spread @ then + fit.path_sd**2 * xs[-1] - cross @ inverse @ cross
    return then @ beta + cross @ inverse @ (ys - own @ beta), variance + lever @ parameters @ lever


@pytest.mark.parametrize("unknown", [0, 12])
@pytest.mark.parametrize("run", [0, 3, 5, 15])
def test_state_is_that_of_a_dense_multivariate_normal(unknown, run):
    """Definition: conditioning a dense normal, parameter uncertainty included."""
    rng = np.random.default_rng(3)
    x, w = paths(rng, 20, 12)
    w[:unknown] += rng.normal(8.0, 3.0, (unknown, 1))
    x[3, 8:], w[5, 2] = np.nan, np.nan
    known = np.arange(20) >= unknown
    fit = fit_wear(x, w, design=ONES, known_start=known)
    state = posterior(fit, x, w, design=ONES, known_start=known)
    for ahead in (0.0, 100.0, 900.0):
        mean, variance = dense_state(fit, x, w, run, known=known, ahead=ahead)
        assert state.wear_mm[run] + ahead * state.rate[run] == pytest.approx(mean, rel=1e-9)
        ours = (
            fit.measurement_sd**2 * state.filter_p[run] + (state.gap[run] + ahead) ** 2 * state.rate_var[run]
        )
        assert ours == pytest.approx(variance, rel=1e-8)
    assert state.wear_var[run] == pytest.approx(
        dense_state(fit, x, w, run, known=known, ahead=0.0)[1], rel=1e-8
    )


def test_a_run_alone_goes_through_the_filter_as_it_does_among_others():
    """A single run is filtered in plain numbers, many as arrays; with gaps, levels taken anew, unknown starts."""
    rng = np.random.default_rng(4)
    x, w = paths(rng, 40, 12)
    w[rng.random(w.shape) < 0.2] = np.nan
    again = rng.random(w.shape) < 0.1
    every = arrange(x, w, known_start=np.arange(40) % 2 == 0, restart=again, copies=1 + rng.random(w.shape))
    sums, steps = filter_path(every, 0.07), filter_steps(every, 0.07)
    for run in range(40):
        alone = every.take(np.array([run]))
        for name, value in vars(filter_path(alone, 0.07)).items():
            assert np.ravel(value) == pytest.approx(getattr(sums, name)[run], rel=1e-12, abs=1e-12), name
        for name, value in vars(filter_steps(alone, 0.07)).items():
            assert value[:, 0] == pytest.approx(getattr(steps, name)[:, run], rel=1e-12, abs=1e-12), name


def test_innovations_are_what_a_refit_without_later_readings_would_say():
    x, w = paths(np.random.default_rng(5), 20, 12)
    fit = fit_wear(x, w, design=ONES)
    away = innovations(fit, arrange(x, w), ONES)
    step = x[:, 6] - x[:, 5]
    # Parameters are taken as known here, so compare with a fit whose parameters carry no uncertainty.
    sure = type(fit)(**(fit.__dict__ | {"covariance": np.zeros((2, 2))}))
    before = posterior(sure, x[:, :6], w[:, :6], design=ONES)
    forecast = before.wear_mm + step * before.rate
    variance = fit.measurement_sd**2 * (1 + before.filter_p) + (before.gap + step) ** 2 * before.rate_var
    variance += fit.path_sd**2 * step
    assert away[6] == pytest.approx((w[:, 6] - forecast) / np.sqrt(variance), rel=1e-9)


def test_innovations_of_the_model_itself_are_standard_normal():
    x, w = paths(np.random.default_rng(6), 2000, 10)
    fit = fit_wear(x, w, design=np.ones((2000, 1)))
    away = innovations(fit, arrange(x, w), np.ones((2000, 1)))
    assert away.mean() == pytest.approx(0.0, abs=0.03)
    assert away.std() == pytest.approx(1.0, abs=0.02)
    assert np.corrcoef(away[3], away[4])[0, 1] == pytest.approx(0.0, abs=0.08)


def test_a_run_without_readings_has_the_rate_of_its_type():
    x, w = paths(np.random.default_rng(7), 20, 6)
    x[0] = np.nan
    fit = fit_wear(x, w, design=ONES)
    state = posterior(fit, x, w, design=ONES)
    assert state.readings[0] == 0
    assert state.rate[0] == pytest.approx(fit.rate[0])
    assert state.rate_var[0] == pytest.approx(fit.rate_sd**2 + fit.covariance[1, 1])
    assert (state.wear_mm[0], state.wear_var[0], state.last_landings[0]) == (0.0, 0.0, 0.0)


def test_a_run_of_unknown_start_without_readings_has_no_known_wear():
    x, w = paths(np.random.default_rng(8), 20, 6)
    fit = fit_wear(x, w, design=ONES)
    state = posterior(fit, [[np.nan]], [[np.nan]], design=[[1.0]], known_start=False)
    assert np.isnan(state.wear_mm[0])
    assert np.isfinite(state.rate[0])


def test_rate_to_come_is_that_of_the_base_the_brake_has_moved_to():
    rng = np.random.default_rng(9)
    x, w = paths(rng, 200, 10, rate=np.repeat([0.03, 0.04], 100))
    z = np.column_stack([np.ones(200), np.arange(200) >= 100])
    fit = fit_wear(x, w, design=z)
    moved = posterior(fit, x[:1], w[:1], design=z[:1], design_now=z[-1:])
    stayed = posterior(fit, x[:1], w[:1], design=z[:1])
    assert moved.rate - stayed.rate == pytest.approx(fit.rate[1])
    assert moved.rate_var[0] > stayed.rate_var[0]
    assert moved.wear_mm == pytest.approx(stayed.wear_mm)


def test_more_readings_never_leave_the_rate_less_sure():
    x, w = paths(np.random.default_rng(10), 20, 12)
    fit = fit_wear(x, w, design=ONES)
    sure = [posterior(fit, x[:, :n], w[:, :n], design=ONES).rate_var for n in range(1, 12)]
    assert (np.diff(sure, axis=0) <= 1e-15).all()
