"""Spares arithmetic against published tables and exercises."""

import numpy as np
import pytest
from scipy.stats import gamma, weibull_min

from lifecycle.life import first_passage_cdf
from lifecycle.renewal import month_masses, renewal_masses
from lifecycle.stock import expected_backorders, fill_rate, mixed_quantile, ready_rate


def poisson(mean):
    """One state whose variance is its mean: the count is then Poisson."""
    return np.array([mean]), np.array([mean])


def test_backorders_of_a_poisson_pipeline_of_one_and_a_quarter():
    """Order-up-to table, Poisson 1.25, stock 0 to 4."""
    wanted = [1.25000, 0.53650, 0.18114, 0.04961, 0.01134]
    assert expected_backorders(np.arange(5), *poisson(1.25)) == pytest.approx(wanted, abs=5e-6)


def test_fill_and_ready_rate_at_stock_three():
    """Definition: P(X < 3) and P(X <= 3), Poisson 1.25."""
    assert fill_rate(3, *poisson(1.25)) == pytest.approx(0.86847, abs=5e-6)
    assert ready_rate(3, *poisson(1.25)) == pytest.approx(0.96173, abs=5e-6)


def test_thirty_parts_of_ten_thousand_hours_over_ninety_days_want_eleven_spares():
    """Textbook exercise: 30 parts, mean life 10,000 h, 24 h x 90 days, 95 %."""
    demand = np.array([poisson(30 * 24 * 90 / 10_000)[0]])
    assert mixed_quantile(0.95, demand, demand) == 11


def test_backorders_of_a_regression_vector():
    """Computed by a second program, not published: stock 5, Poisson 3.2."""
    assert expected_backorders([5], *poisson(3.2)) == pytest.approx(0.174999, abs=1e-6)


def _renewals_by(times, life_cdf, step):
    """m(t) by the months' own code on a fine lattice; the start, spread over its cell, stands at the cell's middle."""
    cells = int(max(times) / step) + 2
    masses = renewal_masses(month_masses(lambda ages: life_cdf(ages * step), cells))[0]
    total = np.cumsum(masses) - 1.0
    return np.interp(times, (np.arange(cells) + 0.5) * step, total)


def test_renewal_function_of_weibull_lives():
    """Tijms, A First Course in Stochastic Models, Table 8.1.1: Weibull, mean 1, squared cv 0.25."""
    shape = 2.1013
    life = weibull_min(shape, scale=1 / weibull_min(shape).mean())
    assert life.var() == pytest.approx(0.25, abs=1e-4)
    found = _renewals_by([0.2, 0.4, 0.6, 1.0, 1.5, 2.5], life.cdf, 0.005)
    assert found == pytest.approx([0.0261, 0.1087, 0.2422, 0.6091, 1.124, 2.125], abs=1.5e-3)


def test_renewal_function_of_erlang_two_lives():
    """Renewal theory (Feller, recalled): m(t) = a t/2 - 1/4 + exp(-2 a t)/4 for Erlang-2 of rate a."""
    rate = 3.0
    times = np.array([0.1, 0.3, 0.7, 1.3, 2.0])
    wanted = rate * times / 2 - 0.25 + np.exp(-2 * rate * times) / 4
    assert _renewals_by(times, gamma(2, scale=1 / rate).cdf, 0.002) == pytest.approx(wanted, abs=1e-3)


def test_exponential_lives_renew_at_a_constant_rate():
    """Renewal theory: m(t) = a t for exponential lives of rate a (Feller, recalled)."""
    times = np.array([0.2, 1.0, 2.4])
    assert _renewals_by(times, gamma(1, scale=0.5).cdf, 0.002) == pytest.approx(2 * times, abs=2e-3)


def test_renewals_settle_at_one_over_the_mean_life():
    """Renewal theorem (Blackwell 1948, recalled): u(k) tends to 1 / mean life."""
    masses = renewal_masses(month_masses(gamma(25, scale=20 / 25).cdf, 600))[0]
    assert masses[-1] == pytest.approx(1 / 20, rel=1e-6)


def test_renewals_of_a_wearing_brake():
    """
    Regression vector, computed by a second program and not published: 4 mm a month, cv 0.12, 40 mm, by month.

    The second program averaged over the month by a coarser rule; eight Gauss-Legendre points differ by 1e-5.
    """
    path_sd = 0.05 * np.sqrt(150)
    masses = renewal_masses(
        month_masses(
            lambda age: first_passage_cdf(
                age, remaining_mm=40.0, rate=4.0, rate_var=0.48**2, path_sd=path_sd
            ),
            70,
        )
    )[0]
    assert masses[8:13] == pytest.approx([0.089565, 0.249281, 0.294807, 0.200506, 0.097091], abs=2e-5)
    assert masses[60] == pytest.approx(0.118697, abs=2e-6)


def test_wave_after_all_brakes_of_a_fleet_are_new_at_once():
    """Simulation of a second program: 160 brakes, 50 landings a month, gamma life 1000, cv 0.20: 16 near month 19."""
    life = gamma(25, scale=20 / 25)
    masses = 160 * renewal_masses(month_masses(life.cdf, 240))[0]
    masses[0] -= 160
    peak = int(np.argmax(masses))
    assert peak == pytest.approx(19, abs=1)
    assert masses[peak] == pytest.approx(16, abs=0.6)
    assert masses[-1] == pytest.approx(160 / 20, rel=1e-3)
