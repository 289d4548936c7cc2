"""A ratio of sums: what its intervals must and must not do."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from lifecycle.errors import NotEnoughDataError
from lifecycle.ratio import ratio_of_sums

units = st.lists(st.tuples(st.floats(1, 100), st.floats(100, 1000)), min_size=3, max_size=12)


@given(units)
def test_fieller_ends_are_where_the_t_statistic_is_critical(pairs):
    amounts, exposures = np.array(pairs).T
    found = ratio_of_sums(amounts, exposures)
    if found.fieller_low is None or np.ptp(amounts / exposures) < 1e-3:
        return
    for end in (found.fieller_low, found.fieller_high):
        apart = amounts - end * exposures
        t = apart.mean() / (apart.std(ddof=1) / np.sqrt(len(apart)))
        assert abs(t) == pytest.approx(stats.t.ppf(0.9, len(apart) - 1), rel=1e-4)


@given(units, st.floats(0.1, 10))
def test_a_change_of_money_scales_the_ratio_and_its_intervals(pairs, factor):
    amounts, exposures = np.array(pairs).T
    one, other = ratio_of_sums(amounts, exposures), ratio_of_sums(factor * amounts, exposures)
    assert other.ratio == pytest.approx(factor * one.ratio)
    assert other.delta_low == pytest.approx(factor * one.delta_low, rel=1e-6, abs=1e-9)


def test_an_exposure_that_may_be_zero_leaves_fieller_unbounded():
    found = ratio_of_sums([1.0, 2.0], [1.0, 1000.0], level=0.95)
    assert found.fieller_low is None
    assert found.fieller_high is None
    assert found.delta_high is not None


def test_one_unit_has_a_ratio_and_no_interval():
    found = ratio_of_sums([10.0], [5.0])
    assert (found.ratio, found.delta_low, found.fieller_high) == (2.0, None, None)


def test_no_exposure_is_an_error():
    with pytest.raises(NotEnoughDataError, match="no landings"):
        ratio_of_sums([1.0], [0.0])
