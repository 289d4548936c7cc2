import numpy as np
import pytest

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
