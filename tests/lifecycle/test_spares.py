"""Spares by base, type and month, from records."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.exposure import measure_runs
from lifecycle.flying import learn_flying
from lifecycle.spares import forecast_spares
from lifecycle.wear import fit_fleet
from tests import builders as b

ON = dt.date(2026, 10, 31)
FIRST = pd.Timestamp("2026-01-01")
LOOP = AssumptionSet((Assumption("shop_turnaround_days", 40.0, "d", "invented", dt.date(2026, 1, 1)),))


def fleet(*more, worn_mm=30.0, aircraft=6):
    """Invented: six twins, four landings a day for ten months, brakes read monthly along a line to `worn_mm` of 40."""
    rows = [b.base(), b.limit("10")]
    months = pd.date_range(FIRST + pd.Timedelta(days=30), ON, freq="30D")
    for number in range(1, aircraft + 1):
        rows += [b.aircraft(number), *b.daily(number, "2026-01-01", 304, 4)]
        for position in range(1, 5):
            serial = number * 10 + position
            rows += [
                b.brake(serial),
                b.installation(serial, "2026-01-01", aircraft=number, position=str(position)),
            ]
            for day in months:
                used = worn_mm * (day - FIRST).days / 304 * (1 + 0.02 * position)
                rows.append(b.reading(serial, day.date().isoformat(), f"{50 - used:.1f}"))
    return b.records(*rows, *more)


def spares(records, **asked):
    runs = measure_runs(records, ON)
    return forecast_spares(runs, fit_fleet(runs), learn_flying(records, ON), records, LOOP, on=ON, **asked)


@pytest.fixture(scope="module")
def quarter_left():
    return spares(fleet(b.stock("Home", "BT-1", "2026-10-15", 20)), months=12, level=0.95)


def test_months_begin_with_the_one_that_holds_the_next_day(quarter_left):
    assert [each.month for each in quarter_left][:3] == [
        dt.date(2026, 11, 1),
        dt.date(2026, 12, 1),
        dt.date(2027, 1, 1),
    ]
    assert len(quarter_left) == 12


def test_brakes_three_quarters_worn_are_wanted_about_a_third_of_their_age_from_now(quarter_left):
    """24 brakes, 30 of 40 mm in 304 days: the rest takes 101 days, so that all are wanted from December to April."""
    by_month = np.array([each.mean for each in quarter_left])
    assert by_month[:6].sum() == pytest.approx(24, abs=1)
    assert int(np.argmax(by_month)) in (2, 3)
    assert by_month[7:10].sum() < 2


def test_points_of_the_forecast_are_in_order_and_whole(quarter_left):
    for each in quarter_left:
        assert each.p10 <= each.p50 <= each.p90
        assert each.p90 == int(each.p90)


def test_short_is_demand_at_the_level_less_the_stock(quarter_left):
    records = fleet(b.stock("Home", "BT-1", "2026-10-15", 20))
    lower = spares(records, months=12, level=0.5)
    for high, low in zip(quarter_left, lower, strict=True):
        missing = low.p50 - low.stock
        assert low.short == pytest.approx(missing if missing >= 0.05 else 0.0)
        assert high.short >= low.short
        assert high.stock == low.stock


@pytest.mark.parametrize(("missing", "told"), [(0.04, 0.0), (0.06, 0.06)])
def test_short_by_less_than_a_twentieth_of_a_brake_is_not_short(missing, told):
    (none,) = spares(fleet(b.stock("Home", "BT-1", "2026-10-31", 0), worn_mm=38.0), months=1)
    assert none.short > 1
    enough = none.short - missing
    (almost,) = spares(fleet(b.stock("Home", "BT-1", "2026-10-31", enough), worn_mm=38.0), months=1)
    assert almost.short == pytest.approx(told, abs=1e-9)


def test_without_stock_records_stock_and_short_are_null():
    assert {(each.stock, each.short) for each in spares(fleet(), months=2)} == {(None, None)}


def test_brakes_due_now_are_wanted_in_the_first_month():
    first = spares(fleet(worn_mm=41.0), months=3)[0]
    assert first.mean == pytest.approx(24, abs=0.5)


def test_removals_for_other_causes_add_to_demand():
    leaks = [b.aircraft(7), *b.daily(7, "2026-01-01", 304, 4)]
    for number in range(6):
        on, off = (f"{FIRST + pd.Timedelta(days=20 * number + at):%Y-%m-%d}" for at in (0, 19))
        leaks.append(b.installation(1000 + number, on, off, aircraft=7, removal_reason="leak"))
    plain = sum(each.mean for each in spares(fleet(), months=2))
    assert sum(each.mean for each in spares(fleet(*leaks), months=2)) > plain + 0.1
