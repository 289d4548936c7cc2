"""Guaranteed cost per landing: what the refund is worth."""

import numpy as np
import pytest

from lifecycle.errors import BadAssumptionError
from lifecycle.guarantee import refund, refund_of_cost


def test_refund_of_a_guarantee_just_above_what_is_expected():
    """
    a ln 1.05, b 0.08, g 10, a million landings: 661,194.92, chance 0.729028, P90 1,633,622.

    Source: computed by a second, independent program.
    """
    found = refund(guaranteed_cost=10.0, landings=1e6, log_mean=np.log(1.05), log_sd=0.08)
    assert found.refund_expected == pytest.approx(661_194.92, abs=0.005)
    assert found.refund_chance == pytest.approx(0.729028, abs=5e-7)
    assert found.refund_p90 == pytest.approx(1_633_622, abs=0.5)


def test_refund_is_the_mean_over_draws_and_never_that_of_the_mean_cost():
    """Slow plain reference: a million draws of the cost; the mean cost meets the guarantee exactly."""
    costs = np.exp(np.random.default_rng(4).normal(-(0.1**2) / 2, 0.1, 1_000_000)) * 20
    found = refund(guaranteed_cost=20.0, landings=3.0, log_mean=-(0.1**2) / 2, log_sd=0.1)
    assert found.refund_expected == pytest.approx(3 * np.maximum(costs - 20, 0).mean(), rel=0.01)
    assert found.refund_expected > 2


def test_a_range_of_cost_is_taken_for_the_p10_and_p90_of_a_lognormal():
    found = refund_of_cost(9.0, 16.0, guaranteed_cost=12.0, landings=100)
    assert found.refund_chance == pytest.approx(0.5)
    assert found.refund_p90 == pytest.approx(100 * (16 - 12))


@pytest.mark.parametrize("wrong", [{"guaranteed_cost": 0.0}, {"landings": 0.0}, {"log_sd": 0.0}])
def test_a_guarantee_of_nothing_is_refused(wrong):
    asked = {"guaranteed_cost": 10.0, "landings": 1.0, "log_mean": 0.0, "log_sd": 0.1, **wrong}
    with pytest.raises(BadAssumptionError, match="above 0"):
        refund(**asked)
