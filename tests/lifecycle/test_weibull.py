"""Weibull lives: recovered truth, and what must hold of an age replacement."""

import numpy as np
import pytest
from scipy import integrate

from lifecycle.errors import NotEnoughDataError
from lifecycle.weibull import WeibullLife, age_replacement, fit_weibull


@pytest.mark.parametrize("unit", [1e-3, 1.0, 1e4])
def test_truth_is_recovered_from_censored_lives_in_any_unit(unit):
    rng = np.random.default_rng(7)
    lives = 1000 * unit * rng.weibull(2.0, 20_000)
    ends = 1200 * unit * rng.random(20_000)
    fit = fit_weibull(np.minimum(lives, ends), lives <= ends)
    assert fit.shape == pytest.approx(2.0, rel=0.02)
    assert fit.scale == pytest.approx(1000 * unit, rel=0.02)


def test_one_ended_life_is_too_few():
    with pytest.raises(NotEnoughDataError, match="found 1 different"):
        fit_weibull([100.0, 200.0, 200.0], [True, False, False])


def test_replacement_age_beats_its_neighbours_by_plain_integration():
    life = WeibullLife(2.5, 1000.0, 0.0, 0, 0)
    best = age_replacement(life, planned_cost=1, failure_cost=5)

    def cost_rate(age):
        lasts, _ = integrate.quad(life.survival, 0, age)
        return (1 + 4 * (1 - float(life.survival(age)))) / lasts

    assert best.cost_rate == pytest.approx(cost_rate(best.age), rel=1e-9)
    assert cost_rate(best.age) < min(cost_rate(best.age - 5), cost_rate(best.age + 5))


@pytest.mark.parametrize(("shape", "failure_cost"), [(0.8, 5.0), (1.0, 5.0), (2.5, 1.0)])
def test_running_to_failure_is_said_where_planning_cannot_pay(shape, failure_cost):
    best = age_replacement(WeibullLife(shape, 1000.0, 0.0, 0, 0), planned_cost=1, failure_cost=failure_cost)
    assert best.age == np.inf
    assert best.cost_rate == best.run_to_failure_cost_rate
