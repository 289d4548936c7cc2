"""Removal rates: published limits, and figures that add up."""

import numpy as np
import pytest
from scipy.stats import poisson

from lifecycle.causes import fit_causes
from lifecycle.reliability import ALL, rate_interval, removal_rates
from tests.lifecycle.test_causes import TRUTH, watched


@pytest.mark.parametrize(
    ("events", "low", "high"),
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.668), (10, 4.795, 18.390), (30, 20.241, 42.827)],
)
def test_limits_are_those_of_the_published_table(events, low, high):
    """Garwood 1936, Biometrika 28, 95 % limits of a Poisson mean, as reprinted in Biometrika Tables (recalled)."""
    found = rate_interval(events, 1.0, tail=0.025)
    assert [found.low, found.high] == pytest.approx([low, high], abs=6e-4)


@pytest.mark.parametrize(
    ("failures", "low", "high"), [(1, 0.2108, 19.4957), (2, 0.3177, 5.6281), (10, 0.5895, 1.8432)]
)
def test_factors_on_the_mean_time_are_those_of_the_handbook(failures, low, high):
    """NIST/SEMATECH e-Handbook 8.4.5.1, 90 % limits on the mean time of a time-censored test, factors (recalled)."""
    found = rate_interval(failures, 1000.0, tail=0.05)
    mean = 1000.0 / failures
    assert [1 / found.high / mean, 1 / found.low / mean] == pytest.approx([low, high], abs=2e-4)


@pytest.mark.parametrize("mean", [0.0, 0.3, 2.0, 9.0])
def test_intervals_hold_at_least_eight_times_in_ten_by_the_law_itself(mean):
    counts = np.arange(60)
    inside = [each.low <= mean <= each.high for each in (rate_interval(int(n), 1.0) for n in counts)]
    assert float(poisson.pmf(counts, mean)[inside].sum()) >= 0.8


def test_rates_add_up_and_are_per_thousand_landings():
    data = watched(np.random.default_rng(1), TRUTH, 2000)
    found = removal_rates(data, fit_causes(data))
    of_a = {each.cause: each for each in found.rates if each.brake_type == "A"}
    assert of_a[ALL].removals == of_a["leak"].removals + of_a["vibration"].removals
    assert of_a["leak"].per_1000 == pytest.approx(
        1000
        * np.sum((data.brake_type == "A") & (data.reason == "leak"))
        / data.landings[data.brake_type == "A"].sum()
    )
    assert of_a["leak"].landings_between == pytest.approx(1000 / of_a["leak"].per_1000)
    assert of_a["vibration"].shape_low > 1 > of_a["leak"].shape_high
    assert (found.not_told, found.other) == (0, 0)


def test_where_nothing_came_off_the_low_end_is_known():
    data = watched(np.random.default_rng(1), TRUTH, 200)
    none = next(
        each for each in removal_rates(data, ()).rates if (each.brake_type, each.cause) == ("B", "vibration")
    )
    assert (none.removals, none.per_1000, none.landings_between, none.landings_between_high) == (
        0,
        0,
        None,
        None,
    )
    assert none.landings_between_low == pytest.approx(none.landings / -np.log(0.1))
