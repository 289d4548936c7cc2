import numpy as np
import pytest
from scipy.special import log_ndtr

from lifecycle.wear import fit_fleet, refresh
from tests.lifecycle.wear_fleet import Brake, paths, runs_of

CHECK = "within limit only"


@pytest.fixture
def fit():
    x, w = paths(np.random.default_rng(1), 60, 10)
    return fit_fleet(runs_of([Brake(tuple(a), tuple(b)) for a, b in zip(x, w, strict=True)]))


def checked(at, *, limit_mm=10.0, start_mm=50.0):
    """A brake read at 300 landings and checked "within limit" later."""
    return Brake(
        (300.0, at), (9.0, np.nan), why_not=("", CHECK), limit_mm=limit_mm, start_mm=start_mm, flown=at
    )


def test_a_check_moves_the_state_to_its_landings(fit):
    row = refresh(fit, runs_of([checked(1300.0)])).iloc[0]
    assert row["landings_at"] == 1300.0
    assert row["readings"] == 1
    assert row["wear_mm"] < 40.0


def test_state_after_a_check_is_that_of_simulated_brakes_that_pass_it(fit):
    """Slow plain reference: draw wear and rate, throw away those past the limit, take mean and variance."""
    before = refresh(fit, runs_of([Brake((300.0,), (9.0,))])).iloc[0]
    after = refresh(fit, runs_of([checked(1300.0)])).iloc[0]
    rng = np.random.default_rng(2)
    rate = rng.normal(before["rate_mm"], np.sqrt(before["rate_var"]), 1_000_000)
    own = before["measurement_sd"] ** 2 * before["filter_p"] + before["path_sd"] ** 2 * 1000
    reach = 1000 + before["gap"]
    wear = before["wear_mm"] + 1000 * before["rate_mm"] + reach * (rate - before["rate_mm"])
    wear += rng.normal(0.0, np.sqrt(own), rate.size)
    passed = wear <= 40.0
    assert after["wear_mm"] == pytest.approx(wear[passed].mean(), abs=0.02)
    assert after["wear_var"] == pytest.approx(wear[passed].var(), rel=0.01)
    assert after["rate_mm"] == pytest.approx(rate[passed].mean(), rel=1e-3)
    assert after["rate_var"] == pytest.approx(rate[passed].var(), rel=0.01)
    together = np.cov(wear[passed], rate[passed])[0, 1]
    assert after["gap"] * after["rate_var"] == pytest.approx(together, rel=0.02)


def test_a_check_far_from_the_limit_says_next_to_nothing(fit):
    plain = refresh(fit, runs_of([Brake((300.0,), (9.0,))])).iloc[0]
    after = refresh(fit, runs_of([checked(350.0)])).iloc[0]
    assert after["rate_mm"] == pytest.approx(plain["rate_mm"], rel=1e-6)
    assert after["wear_mm"] == pytest.approx(plain["wear_mm"] + 50 * plain["rate_mm"], rel=1e-6)


def test_a_check_before_the_last_reading_is_passed_over(fit):
    brake = Brake((300.0, 500.0, 600.0), (9.0, np.nan, 18.0), why_not=("", CHECK, ""))
    without = Brake((300.0, 600.0), (9.0, 18.0))
    with_check, plain = (refresh(fit, runs_of([one])).iloc[0] for one in (brake, without))
    assert with_check["rate_mm"] == plain["rate_mm"]
    assert with_check["landings_at"] == 600.0


def test_a_check_without_a_known_limit_is_passed_over(fit):
    assert refresh(fit, runs_of([checked(1300.0, limit_mm=np.nan)])).iloc[0]["landings_at"] == 300.0


def test_a_check_that_nobody_would_believe_leaves_finite_figures(fit):
    row = refresh(fit, runs_of([checked(9000.0)])).iloc[0]
    figures = row[["rate_mm", "rate_var", "wear_mm", "wear_var", "gap", "filter_p"]].to_numpy(float)
    assert np.isfinite(figures).all()
    assert row["wear_mm"] <= 40.0


def test_reshim_steps_move_the_limit_with_them(fit):
    """Start 50 mm, a step of 5 mm: the pin reads 46 at a wear of 9, and the limit of 10 mm left is a wear of 45."""
    runs = runs_of([checked(1500.0)])
    runs.readings.loc[0, "left_mm"] = 46.0
    assert (
        refresh(fit, runs).iloc[0]["wear_mm"]
        > refresh(fit, runs_of([checked(1500.0)])).iloc[0]["wear_mm"] + 1
    )


def half_checked(seed, *, runs=80):
    """Invented: brakes read twice early on, then half of them only checked, late; those past the limit came off."""
    rng = np.random.default_rng(seed)
    x, w = paths(rng, runs, 3, rate=0.03, rate_sd=0.006, path_sd=0.05, measurement_sd=0.3)
    x[:, 0], x[:, 1], x[:, 2] = 30.0, 60.0, 1200.0
    rate = rng.normal(0.03, 0.006, runs)
    true = rate * 1200.0 + 0.05 * np.sqrt(1200.0) * rng.normal(size=runs)
    w = rate[:, None] * x + rng.normal(0.0, 0.3, x.shape)
    passed = true <= 34.0
    return [
        Brake(
            tuple(x[run] if passed[run] else x[run, :2]),
            (*w[run, :2], np.nan) if passed[run] else tuple(w[run, :2]),
            why_not=("", "", CHECK) if passed[run] else (),
            flown=1200.0,
            limit_mm=16.0,
        )
        for run in range(runs)
    ]


def test_checks_of_many_runs_move_the_rate_of_their_type():
    """Each check that was passed says that the type wears slower than it might: the mean falls and is surer."""
    brakes = [brake for brake in half_checked(3) if brake.why_not]
    unread = [Brake(brake.landings[:2], brake.wear_mm[:2], limit_mm=16.0, flown=1200.0) for brake in brakes]
    with_checks, without = (fit_fleet(runs_of(some)).types[0] for some in (brakes, unread))
    assert with_checks.rate_mm_per_landing < without.rate_mm_per_landing
    width = [one.rate_high - one.rate_low for one in (with_checks, without)]
    assert width[0] < width[1]


def test_the_rate_with_checks_is_that_of_the_exact_likelihood():
    """Slow plain reference: normal readings times Phi of each check, by a grid over the mean, variances as fitted."""
    brakes = [brake for brake in half_checked(3, runs=40) if brake.why_not]
    fit = fit_fleet(runs_of(brakes)).models["BT-1"].fit
    grid = np.linspace(0.02, 0.035, 1501)
    exact = np.array([exact_log_likelihood(brakes, rate, fit) for rate in grid])
    weight = np.exp(exact - exact.max())
    mean = np.sum(grid * weight) / weight.sum()
    sd = np.sqrt(np.sum((grid - mean) ** 2 * weight) / weight.sum())
    assert fit.rate[0] == pytest.approx(mean, abs=0.15 * sd)
    assert np.sqrt(fit.covariance[1, 1]) == pytest.approx(sd, rel=0.1)


def exact_log_likelihood(brakes, rate, fit):
    """Of the runs' two readings and one check at a mean rate."""
    x = np.array([30.0, 60.0, 1200.0])
    v = fit.rate_sd**2 * np.outer(x, x) + fit.path_sd**2 * np.minimum.outer(x, x)
    seen = v[:2, :2] + fit.measurement_sd**2 * np.eye(2)
    gain = v[2, :2] @ np.linalg.inv(seen)
    sd = np.sqrt(v[2, 2] - gain @ v[:2, 2])
    left = np.array([brake.wear_mm[:2] for brake in brakes]) - rate * x[:2]
    ahead = rate * x[2] + left @ gain
    quadratic = np.sum(left @ np.linalg.inv(seen) * left)
    return -0.5 * quadratic + np.sum(log_ndtr((34.0 - ahead) / sd))
