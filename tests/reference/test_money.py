"""Published answers of life-cycle-cost arithmetic; the source stands beside each."""

import numpy as np
import numpy_financial as npf
import pytest
from scipy.optimize import brentq

from lifecycle import payback


def present_value_of_savings(years, rate=0.03, outlay=1_000_000.0, saving=180_000.0):
    return float(payback.npv(rate, [-outlay] + [saving] * years))


def test_net_present_value_of_the_documented_flows():
    """numpy-financial documentation, `npv`: -40000, 5000, 8000, 12000, 30000 at 8 %."""
    assert payback.npv(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000]) == pytest.approx(3065.22267, abs=5e-6)


@pytest.mark.parametrize(
    ("flows", "rate"),
    [
        ([-100, 39, 59, 55, 20], 0.28095),
        ([-100, 0, 0, 74], -0.0955),
        ([-100, 100, 0, 7], 0.06206),
        ([-250_000, 100_000, 150_000, 200_000, 250_000, 300_000], 0.5672303344358536),
        ([-150_000, 15_000, 25_000, 35_000, 45_000, 60_000], 0.0524),
    ],
)
def test_net_present_value_is_zero_at_the_documented_internal_rate(flows, rate):
    """numpy-financial documentation, `irr` (four cases); NumPy, lib/tests/test_financial.py (the last)."""
    found = brentq(lambda trial: float(payback.npv(trial, flows)), -0.5, 2.0, xtol=1e-12)
    assert found == pytest.approx(rate, abs=6e-5)


def test_net_present_value_of_the_five_year_flows_of_the_former_numpy_tests():
    """NumPy, lib/tests/test_financial.py: 117.04 with the first flow a year from now, as that function had it."""
    assert payback.npv(0.05, [0, -15_000, 1_500, 2_500, 3_500, 4_500, 6_000]) == pytest.approx(
        117.04, abs=0.005
    )


def test_a_recurring_outlay_every_three_years_over_fifty():
    """R package EngrEcon, documentation: 1000 every 3 years, 50-year horizon, 3 %."""
    flows = [1000.0 if year and year % 3 == 0 else 0.0 for year in range(51)]
    assert payback.npv(0.03, flows) == pytest.approx(8174.547, abs=5e-4)


@pytest.mark.parametrize(
    ("factor", "answer"),
    [
        (200_000 * payback.capital_recovery_factor(0.08, 30), 17_765.49),
        (30_000 * payback.uniform_present_value_factor(0.08, 30), 337_733.5),
        (
            650_000
            * float(payback.present_value_factor(0.08, 30))
            * payback.capital_recovery_factor(0.08, 30),
            5_737.83,
        ),
    ],
)
def test_present_annual_and_future_money_convert(factor, answer):
    """R package EngrEcon, documentation of present_to_annual, annual_to_present, future_to_annual (8 %, 30 years)."""
    assert factor == pytest.approx(answer, abs=0.05)


def test_factors_of_a_quarter_per_cent_over_twelve_periods():
    """Engineering-economy table, 0.25 %, n 12: P/A 11.8073, F/A 12.16638, P/F 0.9705."""
    single = float(payback.present_value_factor(0.0025, 12))
    uniform = payback.uniform_present_value_factor(0.0025, 12)
    assert uniform == pytest.approx(11.8073, abs=5e-5)
    assert uniform / single == pytest.approx(12.16638, abs=5e-6)
    assert single == pytest.approx(0.9705, abs=5e-5)


@pytest.mark.parametrize(("years", "single", "uniform"), [(10, 0.74409, 8.5302), (20, 0.55368, 14.8775)])
def test_single_and_uniform_present_value_factors_at_three_per_cent(years, single, uniform):
    """Formula of 10 CFR 436 and NIST Handbook 135, computed independently."""
    assert payback.present_value_factor(0.03, years) == pytest.approx(single, abs=5e-6)
    assert payback.uniform_present_value_factor(0.03, years) == pytest.approx(uniform, abs=5e-5)


@pytest.mark.parametrize(
    ("years", "single", "uniform"), [(5, 0.863, 4.58), (15, 0.642, 11.94), (25, 0.478, 17.41)]
)
def test_factor_tables_at_three_per_cent(years, single, uniform):
    """NIST Handbook 135, annual supplement, tables A-1 and A-2, DOE rate 3 % (recalled)."""
    assert payback.present_value_factor(0.03, years) == pytest.approx(single, abs=5e-4)
    assert payback.uniform_present_value_factor(0.03, years) == pytest.approx(uniform, abs=5e-3)


def test_present_value_of_a_level_payment_and_of_a_loan():
    """NumPy, lib/tests/test_financial.py: pv(7 %, 20, 12000) 127128.17; pmt(8 %/12, 60, 15000) 304.146."""
    assert 12_000 * payback.uniform_present_value_factor(0.07, 20) == pytest.approx(127_128.17, abs=0.005)
    assert 15_000 * payback.capital_recovery_factor(0.08 / 12, 60) == pytest.approx(304.146, abs=5e-4)


def test_real_rates_may_be_negative():
    """OMB Circular A-94, Appendix C for 2021: 3 years -1.8 %, 5 years -1.6 %."""
    assert float(payback.npv(-0.018, [0, 100])) == pytest.approx(100 / 0.982)


@pytest.mark.parametrize(
    "flows",
    [
        [-120_000, 39_000, 30_000, 21_000, 37_000, 46_000],
        [-4500, -800, 800, 800, 600, 600, 800, 800, 700, 3000],
        [-1000, 100, 200, 300, 400, 400, 400],
    ],
)
def test_adjusted_rate_is_the_modified_internal_rate_at_one_rate(flows):
    """numpy-financial `mirr` with finance and reinvestment rate alike (flows of NumPy's former tests)."""
    savings, outlays = np.maximum(flows, 0.0), np.maximum(np.negative(flows), 0.0)
    expected = npf.mirr(flows, 0.1, 0.1)
    ratio = payback.savings_to_investment(float(payback.npv(0.1, savings)), float(payback.npv(0.1, outlays)))
    assert payback.adjusted_rate_of_return(ratio, 0.1, len(flows) - 1) == pytest.approx(expected, rel=1e-9)


def test_payback_of_a_million_by_a_hundred_and_eighty_thousand_a_year():
    """Computed independently: simple 5.556 years, discounted 6.170 from yearly flows (6.168 in closed form)."""
    flows = [-1e6] + [180e3] * 10
    assert payback.discounted_payback(0.0, flows) == pytest.approx(5.556, abs=5e-4)
    assert payback.discounted_payback(0.03, flows) == pytest.approx(6.170, abs=5e-4)


@pytest.mark.parametrize(("years", "worth"), [(10, 535_436.51), (6, -24_905.54), (5, -175_652.71)])
def test_payback_beyond_retirement_is_a_loss(years, worth):
    """Computed independently: the same outlay over 10, 6 and 5 years."""
    assert present_value_of_savings(years) == pytest.approx(worth, abs=0.005)
    assert np.isinf(payback.discounted_payback(0.03, [-1e6] + [180e3] * 6))


@pytest.mark.parametrize(
    ("rate", "flows", "years"),
    [
        (0.10, [-1000, 300, 400, 500, 200], 3.154),
        (0.0, [-1000, 300, 400, 500, 200], 2.6),
        (0.20, [-1000, 340, 340, 340], np.inf),
    ],
)
def test_discounted_payback_of_printed_examples(rate, flows, years):
    """Documentation of DiscountedPaybackPeriod and PaybackPeriod, tiko-lang wiki: 3.154, 2.6 and never."""
    assert payback.discounted_payback(rate, flows) == pytest.approx(years, abs=6e-4)
