"""Properties and edges of the money arithmetic."""

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle import payback
from lifecycle.errors import BadAssumptionError

rates = st.floats(-0.2, 0.5)
money = st.floats(-1e6, 1e6)
series = st.lists(money, min_size=2, max_size=25)


def plain_npv(rate, flows):
    total = 0.0
    for year, flow in enumerate(flows):
        total += flow / (1 + rate) ** year
    return total


def plain_payback(rate, flows):
    """Walk the years; remember the last time that the sum comes back to zero or above."""
    running, paid = 0.0, 0.0
    for year, flow in enumerate(flows):
        before, running = running, running + flow / (1 + rate) ** year
        if running < 0:
            paid = float("inf")
        elif before < 0:
            paid = year - 1 + -before / (running - before)
    return paid


@given(rates, series)
def test_npv_equals_the_plain_loop_and_the_reference_library(rate, flows):
    found = float(payback.npv(rate, flows))
    assert found == pytest.approx(plain_npv(rate, flows), rel=1e-9, abs=1e-3)
    assert found == pytest.approx(npf.npv(rate, flows), rel=1e-9, abs=1e-3)


@given(rates, st.lists(st.tuples(money, money), min_size=2, max_size=15), st.floats(-5, 5))
def test_npv_is_linear_in_the_flows(rate, pairs, scale):
    first, second = np.array(pairs).T
    together = payback.npv(rate, scale * first + second)
    apart = scale * payback.npv(rate, first) + payback.npv(rate, second)
    assert together == pytest.approx(apart, rel=1e-7, abs=1e-2 * (1 + abs(scale)))


@given(rates, series)
def test_payback_equals_the_plain_walk_over_the_years(rate, flows):
    assert payback.discounted_payback(rate, flows) == pytest.approx(
        plain_payback(rate, flows), rel=1e-6, abs=1e-6
    )


@given(rates, series, st.floats(0, 1e6), st.data())
def test_more_money_in_any_year_never_pays_back_later(rate, flows, more, data):
    year = data.draw(st.integers(0, len(flows) - 1))
    better = [flow + more * (t == year) for t, flow in enumerate(flows)]
    assert payback.discounted_payback(rate, better) <= payback.discounted_payback(rate, flows) + 1e-6


def test_closed_form_and_yearly_flows_agree_at_whole_years():
    outlay = 500 * payback.uniform_present_value_factor(0.04, 7)
    assert payback.discounted_payback(0.04, [-outlay - 1e-9] + [500.0] * 12) == pytest.approx(7.0, abs=1e-6)


def test_payback_that_a_later_outlay_undoes_does_not_count():
    flows = [-100.0, 150.0, -200.0, 100.0, 100.0]
    assert payback.discounted_payback(0.0, flows) == pytest.approx(3.5)


def test_staged_outlays_do_not_look_paid_back_at_the_start():
    assert payback.discounted_payback(0.0, [0.0, -100.0, 50.0, 100.0]) == pytest.approx(2.5)


def test_payback_is_zero_without_an_outlay_and_infinite_without_savings():
    assert payback.discounted_payback(0.03, [0.0, 10.0, 10.0]) == 0.0
    assert np.isinf(payback.discounted_payback(0.03, [-10.0, 1.0, 1.0]))


def test_many_series_with_their_own_rates_equal_one_at_a_time():
    rng = np.random.default_rng(5)
    flows = rng.normal(0, 100, (50, 12)) - 200 * (np.arange(12) == 0)
    each = rng.uniform(-0.02, 0.1, 50)
    assert payback.npv(each, flows) == pytest.approx(
        [plain_npv(r, f) for r, f in zip(each, flows, strict=True)]
    )
    assert payback.discounted_payback(each, flows) == pytest.approx(
        [plain_payback(r, f) for r, f in zip(each, flows, strict=True)]
    )


def test_nothing_spent_has_no_ratio_and_no_rate():
    assert payback.savings_to_investment(100.0, 0.0) is None
    assert payback.adjusted_rate_of_return(-0.5, 0.03, 10) is None


@pytest.mark.parametrize("rate", [-1.0, float("nan"), float("inf")])
def test_a_rate_that_cannot_discount_is_refused(rate):
    with pytest.raises(BadAssumptionError, match="discount rate"):
        payback.npv(rate, [1.0, 1.0])


def test_a_flow_that_is_not_a_number_is_refused():
    with pytest.raises(BadAssumptionError, match="yearly flow"):
        payback.npv(0.03, [1.0, float("nan")])


def test_a_level_amount_over_no_years_is_refused():
    with pytest.raises(BadAssumptionError, match="more than 0 years"):
        payback.capital_recovery_factor(0.03, 0)
