"""Claims: the posterior of a mean life, the chance that a claim holds, and what more would settle it."""

import itertools

import numpy as np
import pytest
from scipy.stats import norm

from lifecycle.claims import check_claim, claim_curve
from lifecycle.errors import BadAssumptionError, NotEnoughDataError
from lifecycle.mean_life import mean_life
from lifecycle.own_rates import own_rates
from lifecycle.wear import fit_fleet
from tests.lifecycle.claim_histories import LIFE, rates
from tests.lifecycle.wear_fleet import Brake, paths, runs_of


def plain_posterior(table, points=40):
    """The same posterior by a dense normal likelihood at each set of spreads: slow and plain."""
    scale = np.average(table["share"], weights=1 / table["variance"])
    y, error = table["share"].to_numpy() / scale, table["variance"].to_numpy() / scale**2
    same = table["aircraft"].to_numpy()[:, None] == table["aircraft"].to_numpy()
    ones, found = np.ones(y.size), []
    grid = (np.arange(points) + 0.5) / points * 0.5
    for omega, tau in itertools.product(grid, grid):
        covariance = omega**2 * same + np.diag(tau**2 + error)
        inverse = np.linalg.inv(covariance)
        information = ones @ inverse @ ones
        mean = ones @ inverse @ y / information
        left = y - mean
        loglik = -(np.linalg.slogdet(covariance)[1] + np.log(information) + left @ inverse @ left) / 2
        middle = np.log1p((omega**2 + tau**2) / mean**2) - np.log(mean * scale)
        found.append((loglik, middle, 1 / np.sqrt(information) / mean))
    loglik, middle, sd = np.array(found).T
    weight = np.exp(loglik - loglik.max())
    return weight / weight.sum(), middle, sd


def test_the_posterior_is_that_of_a_dense_normal_likelihood():
    """Slow plain reference, 5 aircraft of 3 brakes: chances to 0.004, quantiles to 0.3 %."""
    table = rates(np.random.default_rng(3), 5, 3)
    weight, middle, sd = plain_posterior(table)
    life = mean_life([table])
    for value in (1350.0, 1500.0, 1650.0):
        plain = weight @ norm.sf((np.log(value) - middle) / sd)
        assert life.chance_above(value) == pytest.approx(plain, abs=0.004)
    assert life.log_mean == pytest.approx(weight @ middle, abs=0.003)


def test_with_spreads_that_are_nothing_the_mean_is_weighed_by_error():
    """Known truth: exact readings of equal brakes give their life back."""
    table = rates(np.random.default_rng(1), 40, 4, omega=0.0, tau=0.0, error=0.01)
    life = mean_life([table])
    assert life.quantile(0.5) == pytest.approx(LIFE, rel=0.002)
    assert life.between_aircraft < 0.005
    assert life.between_runs < 0.01


def test_the_interval_holds_the_truth_as_often_as_it_says_with_eight_brakes_an_aircraft():
    """80 % intervals of 100 fleets of 8 aircraft hold the truth about 80 times; brakes taken alone, fewer."""
    rng = np.random.default_rng(20261125)
    inside, alone = [], []
    for _ in range(100):
        table = rates(rng, 8, 8)
        loose = table.assign(aircraft=np.arange(64))
        for kept, one in ((inside, table), (alone, loose)):
            life = mean_life([one])
            kept.append(life.quantile(0.1) <= LIFE <= life.quantile(0.9))
    assert 0.7 <= np.mean(inside) <= 0.91
    assert np.mean(alone) < 0.62


def test_a_ratio_takes_what_aircraft_share_out():
    """The same aircraft carry both types: their effects cancel, and the ratio is known better than either life."""
    rng = np.random.default_rng(5)
    both, aircraft = [], rng.normal(0, 0.15, 12)
    for life in (1500.0, 1000.0):
        table = rates(rng, 12, 4, life=life, omega=0.0)
        table["share"] *= 1 + np.repeat(aircraft, 4)
        both.append(table)
    ratio, alone = mean_life(both), mean_life(both[:1])
    assert ratio.quantile(0.01) < 1.5 < ratio.quantile(0.99)
    assert ratio.log_sd < 0.7 * alone.log_sd


def fleet(rng, runs=40, **more):
    x, w = paths(rng, runs, 12)
    brakes = [Brake(tuple(a), tuple(b), **more) for a, b in zip(x, w, strict=True)]
    made = runs_of(brakes)
    made.spans["aircraft"] = np.arange(len(made.spans)) // 4
    return made


@pytest.fixture(scope="module")
def runs():
    return fleet(np.random.default_rng(7))


@pytest.fixture(scope="module")
def fit(runs):
    return fit_fleet(runs)


def test_own_rates_are_those_of_the_readings_not_drawn_to_the_type(runs, fit):
    """They scatter more than the posterior's, which are drawn together; shares are of 50 - 10 mm."""
    found = own_rates(runs, fit, "BT-1")
    assert found["share"].to_numpy() * 40 == pytest.approx(fit.posterior["rate_mm"].to_numpy(), rel=0.12)
    assert found["share"].std() * 40 > fit.posterior["rate_mm"].std()
    assert found["aircraft"].nunique() == 10


def test_a_brake_part_worn_when_its_records_begin_counts_with_a_whole_life(runs, fit):
    made = fleet(np.random.default_rng(7))
    made.runs.loc[:9, "start_mm"] = 20.0
    assert own_rates(made, fit, "BT-1")["share"].to_numpy() == pytest.approx(
        own_rates(runs, fit, "BT-1")["share"]
    )


def test_a_true_claim_holds_a_false_one_fails_and_a_near_one_stays_open(runs, fit):
    """True mean life 40 mm / 0.03 mm = 1333 landings and a little (invented fleet)."""
    verdicts = {
        claimed: check_claim(runs, fit, brake_type="BT-1", landings=claimed)
        for claimed in (1000.0, 1390.0, 1800.0, 5000.0)
    }
    assert [each.verdict for each in verdicts.values()] == ["holds", "open", "fails", "fails"]
    assert [each.landings_to_settle for each in verdicts.values() if each.verdict != "open"] == [0.0] * 3
    assert verdicts[1390.0].landings_to_settle > 0
    chances = [each.chance_claim_holds for each in verdicts.values()]
    assert chances == sorted(chances, reverse=True)
    for each in verdicts.values():
        assert each.low < each.estimate < each.high
        assert each.warnings[-1].startswith("as flown: bases and positions are in it")


def test_what_is_still_wanted_is_by_the_estimate_that_is_printed():
    """The test is even about the claim: claims as far above as below the estimate want the same landings more."""
    made = fleet(np.random.default_rng(11), 16)
    fit = fit_fleet(made)
    estimate = check_claim(made, fit, brake_type="BT-1", landings=1350.0).estimate
    above, below, at = (
        check_claim(made, fit, brake_type="BT-1", landings=estimate * times)
        for times in (1.006, 1 / 1.006, 1.0)
    )
    assert above.landings_to_settle == pytest.approx(below.landings_to_settle, rel=0.02)
    assert not at.within_reach
    assert at.warnings[0].startswith("the claim is so near the estimate that either verdict would be right")


def test_the_landings_foretold_do_settle_it():
    """Recovered truth: fleets with as many landings more as foretold settle at least half the time."""
    rng = np.random.default_rng(11)
    made = fleet(rng, 12)
    claim = check_claim(made, fit_fleet(made), brake_type="BT-1", landings=1180.0)
    assert claim.verdict == "open"
    times = 1 + claim.landings_to_settle / claim.landings
    settled = []
    for _ in range(12):
        grown = fleet(rng, int(np.ceil(12 * times)))
        settled.append(check_claim(grown, fit_fleet(grown), brake_type="BT-1", landings=1180.0).verdict)
    assert settled.count("holds") >= 6
    assert "fails" not in settled


def test_the_curve_falls_and_passes_through_the_chance_of_the_claim(runs, fit):
    claim = check_claim(runs, fit, brake_type="BT-1", landings=1345.0)
    curve = claim_curve(runs, fit, claim)
    chances = [point.chance for point in curve]
    assert chances == sorted(chances, reverse=True)
    at = np.interp(1345.0, [point.figure for point in curve], chances)
    assert at == pytest.approx(claim.chance_claim_holds, abs=0.01)


def test_few_aircraft_are_told_of(runs, fit):
    made = fleet(np.random.default_rng(7))
    made.spans["aircraft"] = 1
    told = check_claim(made, fit, brake_type="BT-1", landings=1300).warnings
    assert any("1 aircraft" in text for text in told)


@pytest.mark.parametrize(
    ("asked", "wanted"),
    [
        ({}, "exactly one"),
        ({"landings": 1.0, "ratio": 1.0}, "exactly one"),
        ({"ratio": 1.0}, "against another"),
        ({"landings": 1.0, "against": "BT-2"}, "against another"),
        ({"landings": 0.0}, "above 0"),
        ({"landings": float("inf")}, "above 0"),
        ({"ratio": 1.0, "against": "BT-1"}, "against itself"),
    ],
)
def test_a_claim_that_cannot_be_meant_is_refused(runs, fit, asked, wanted):
    with pytest.raises(BadAssumptionError, match=wanted):
        check_claim(runs, fit, brake_type="BT-1", **asked)


def test_a_type_without_records_or_limits_is_refused(runs, fit):
    with pytest.raises(NotEnoughDataError, match="BT-9"):
        check_claim(runs, fit, brake_type="BT-9", landings=1.0)
    made = fleet(np.random.default_rng(7))
    made.runs["limit_mm"] = np.nan
    with pytest.raises(NotEnoughDataError, match="limit"):
        check_claim(made, fit, brake_type="BT-1", landings=1.0)
