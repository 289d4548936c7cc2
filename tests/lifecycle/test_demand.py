"""Demand of many positions against an event simulation that shares no code with it."""

import numpy as np
import pytest

from lifecycle.causes import CauseLife, hazards_of
from lifecycle.demand import Positions, expected_demand
from lifecycle.life import Passage
from lifecycle.weibull import WeibullLife

MONTHS = 48


def hazards(shape, scale):
    """One type whose other removals follow one Weibull law; none where its scale is infinite."""
    life = WeibullLife(shape, scale, shape, shape, 0.0, 0, 0)
    return hazards_of([CauseLife("A", "leak", life)] if np.isfinite(scale) else [], ["A"], up_to=9000.0)


def positions(rng, count, *, other=(1.0, 1e4), remaining_mm=None, season=0.3):
    """Invented positions: 40 mm usable, 0.03 mm a landing, path noise 0.05, 40 to 150 landings a month."""
    a_month = rng.uniform(40, 150, count)
    seasonal = 1 + season * np.sin(np.arange(MONTHS) / 12 * 2 * np.pi)
    full = np.full(count, 1.0)
    return Positions(
        law=Passage(
            remaining_mm=rng.uniform(2, 40, count) if remaining_mm is None else remaining_mm * full,
            rate=rng.normal(0.03, 0.003, count),
            rate_var=0.002**2 * full,
            path_sd=0.05 * full,
            start_var=0 * full,
            start_cov=0 * full,
            flown=0 * full,
            dof=np.inf * full,
        ),
        usable_mm=40 * full,
        rate=0.03 * full,
        rate_var=0.0036**2 * full,
        path_sd=0.05 * full,
        age=rng.uniform(0, 1200, count),
        hazards=hazards(*other),
        kind=np.zeros(count, dtype=np.int64),
        group=np.arange(count) % 2,
        landings=np.cumsum(a_month[:, None] * seasonal, axis=1),
    )


def simulated(fleet, rng, repeats, other):
    """Removals by month: inverse Gaussian lives one after the other, cut short by another cause by age."""
    shape, scale = other
    ends = np.concatenate([np.zeros((len(fleet.rate), 1)), fleet.landings], axis=1)
    total = np.zeros(MONTHS)

    def life(remaining, rate, age):
        worn = rng.wald(remaining / np.maximum(rate, 1e-4), remaining**2 / 0.05**2)
        # Weibull, given that it has lasted to this age: the cumulative hazard grows by a unit exponential.
        cause = scale * ((age / scale) ** shape + rng.exponential(size=len(worn))) ** (1 / shape) - age
        return np.minimum(worn, cause)

    for _ in range(repeats):
        at = life(fleet.law.remaining_mm, rng.normal(fleet.law.rate, 0.002), fleet.age)
        while (at < ends[:, -1]).any():
            month = (ends <= at[:, None]).sum(axis=1) - 1
            total += np.bincount(month[month < MONTHS], minlength=MONTHS)[:MONTHS]
            at = at + life(fleet.usable_mm, rng.normal(fleet.rate, 0.0036), 0.0)
    return total / repeats


@pytest.mark.parametrize("other", [(1.0, 1e4), (2.5, 2000.0), (0.7, 5000.0)])
def test_demand_agrees_with_an_event_simulation(other):
    """Invented truth: a constant hazard, one that grows with age, one that falls; each far from rare."""
    rng = np.random.default_rng(11)
    fleet = positions(rng, 3000, other=other)
    told = simulated(fleet, rng, 12, other)
    found = expected_demand(fleet, groups=2).mean.sum(axis=0)
    assert found.sum() == pytest.approx(told.sum(), rel=0.003)
    # A month is smeared into its neighbours by at most the spread of one month on the positions' own clocks.
    assert found[:36] == pytest.approx(told[:36], rel=0.06)


def test_brakes_past_their_limit_are_wanted_in_the_first_month():
    fleet = positions(np.random.default_rng(3), 50, remaining_mm=-1.0)
    found = expected_demand(fleet, groups=2).mean.sum(axis=0)
    assert found[0] == pytest.approx(50, abs=0.5)


def test_aircraft_that_do_not_fly_want_nothing():
    fleet = positions(np.random.default_rng(3), 10)
    parked = Positions(**{**vars(fleet), "landings": np.zeros_like(fleet.landings)})
    assert expected_demand(parked, groups=2).mean.sum() == 0


def test_more_flying_brings_more_demand_and_other_causes_add_to_it():
    fleet = positions(np.random.default_rng(4), 200)
    calm = positions(np.random.default_rng(4), 200, other=(1.0, np.inf))
    plain = expected_demand(fleet, groups=2).mean.sum()
    assert expected_demand(fleet, groups=2, faster=1.1).mean.sum() > 1.05 * plain
    assert expected_demand(calm, groups=2).mean.sum() < plain


def test_variance_is_below_the_mean_as_wear_is_under_dispersed():
    found = expected_demand(positions(np.random.default_rng(4), 200), groups=2)
    assert (found.variance <= found.mean).all()
    assert found.variance.sum() < 0.95 * found.mean.sum()


def test_a_cause_that_strikes_old_heat_sinks_comes_sooner_to_the_older_ones():
    fleet = positions(np.random.default_rng(5), 100, other=(3.0, 1500.0), remaining_mm=1000.0)
    young = Positions(**{**vars(fleet), "age": np.zeros(100)})
    old = Positions(**{**vars(fleet), "age": np.full(100, 1000.0)})
    first = [expected_demand(each, groups=2).mean[:, :6].sum() for each in (young, old)]
    assert first[1] > 4 * first[0]
