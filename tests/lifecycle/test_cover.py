"""Stock against fill rate: numbers in order, today's marked, and a simulation of removals and returns."""

import numpy as np
import pytest

from lifecycle.assumptions import AssumptionSet
from lifecycle.cover import ENOUGH, stock_cover
from lifecycle.exposure import measure_runs
from lifecycle.flying import learn_flying
from lifecycle.stock import fill_rate
from lifecycle.wear import fit_fleet
from tests import builders as b
from tests.lifecycle.test_spares import LOOP, ON, fleet


def cover_of(records, assumptions=LOOP):
    runs = measure_runs(records, ON)
    return stock_cover(runs, fit_fleet(runs), learn_flying(records, ON), records, assumptions, on=ON)


@pytest.fixture(scope="module")
def worn():
    """24 brakes with a tenth of their wear left: nearly all come off within the turnaround of 40 days."""
    (found,) = cover_of(fleet(b.stock("Home", "BT-1", "2026-10-15", 6), worn_mm=37.0))
    return found


def test_numbers_go_from_none_to_enough_and_meet_more_the_more_are_kept(worn):
    rates = [each.fill_rate for each in worn.points]
    assert [each.stock for each in worn.points] == list(range(len(rates)))
    assert rates[0] == 0
    assert (np.diff(rates) >= -1e-12).all()
    assert rates[-1] >= ENOUGH > rates[-2]
    assert all(each.ready_rate >= each.fill_rate for each in worn.points)
    assert worn.points[0].backorders == pytest.approx(worn.demand_mean, rel=0.02)


def test_todays_number_is_marked(worn):
    assert worn.days == 40
    assert worn.today == worn.points[6]


def test_without_a_turnaround_nothing_is_told_and_without_a_count_no_number_is_marked():
    records = fleet()
    assert cover_of(records, AssumptionSet(())) == ()
    (found,) = cover_of(records)
    assert found.today is None


def test_a_stock_meets_as_many_removals_at_once_as_the_rule_says():
    """Event simulation: removals at random, 0.03 a day, each brake back after 40 days; Palm's theorem (recalled)."""
    rng = np.random.default_rng(5)
    taken = np.cumsum(rng.exponential(1 / 0.03, 60_000))
    for stock in (1, 2, 3):
        # The stock-th removal before must have come back.
        back = np.concatenate([np.full(stock, -np.inf), taken[:-stock] + 40])
        met = np.mean(back <= taken)
        mean = np.array([0.03 * 40])
        assert fill_rate([stock], mean, mean)[0] == pytest.approx(met, abs=0.01)


def test_it_is_the_demand_of_the_days_to_come():
    (calm,) = cover_of(fleet(worn_mm=15.0))
    assert calm.demand_mean < 0.5
