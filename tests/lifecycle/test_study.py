"""The whole chain from records to results."""

import datetime as dt
import functools

import numpy as np
import pandas as pd
import pytest

from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.errors import LifecycleError, MissingAssumptionError, UnknownBaseError
from lifecycle.study import Study, briefing, changeouts, claims, cost, open_study, refit, spares
from tests import builders as b

ON = dt.date(2025, 12, 31)


@functools.cache
def study(seed=3, more=()) -> Study:
    rng = np.random.default_rng(12)
    rows = [b.base("Home"), b.base("Away"), b.limit(10), *b.daily(1, "2025-01-01", 365, 4), *more]
    rows += [b.installation(number, "2024-12-31", position=str(number)) for number in (1, 2, 3)]
    rows += [b.installation(4, "2024-12-31", "2025-06-01", position="4", removal_reason="leak")]
    for day in pd.date_range("2025-01-15", "2025-12-20", freq="14D"):
        for number in (1, 2, 3, 4):
            worn = 0.022 * 4 * (day - pd.Timestamp("2025-01-01")).days + rng.normal(0, 0.15)
            if number < 4 or day < pd.Timestamp("2025-06-01"):
                rows.append(b.reading(number, day.date().isoformat(), f"{50 - worn:.1f}"))
    priced = Assumption("overhaul_cost", 20_000.0, "XXX", "invented", ON, brake_type="BT-1")
    return open_study(b.records(*rows), AssumptionSet((priced,)), on=ON, known_on=ON, seed=seed, number="S-1")


def test_refit_tells_the_types_and_every_run_where_asked():
    told = refit(study())
    assert (told.study, told.on, told.known_on, told.seed, told.brakes) == ("S-1", ON, ON, 3, ())
    assert [fitted.brake_type for fitted in told.types] == ["BT-1"]
    brakes = refit(study(), brakes=True).brakes
    assert [(rate.serial, rate.run, rate.state) for rate in brakes] == [
        ("S1", 1, "fitted"),
        ("S2", 1, "fitted"),
        ("S3", 1, "fitted"),
        ("S4", 1, "off"),
    ]
    for rate in brakes:
        assert abs(rate.rate_mm_per_landing - 0.022) < 4 * rate.rate_sd


def test_change_outs_of_a_study_are_those_at_its_day_base_and_risk():
    everyone = changeouts(study())
    assert [change.serial for change in changeouts(study(), base="Home")] == [c.serial for c in everyone]
    cautious = {change.serial: change.landings_at_risk for change in changeouts(study(), risk=0.05)}
    assert all(cautious[change.serial] < change.landings_at_risk for change in everyone)


@pytest.mark.parametrize("asked", [changeouts, spares])
def test_a_base_that_is_not_on_record_is_refused_by_name_with_those_that_are(asked):
    with pytest.raises(UnknownBaseError, match=r"base 'Hme' is not on record; wanted one of Away, Home"):
        asked(study(), base="Hme")


def test_a_base_on_record_without_brakes_has_none():
    assert changeouts(study(), base="Away") == ()
    assert spares(study(), base="Away", months=2) == ()
    assert spares(study(), base="Home", months=2) == spares(study(), months=2)


def test_a_guarantee_of_a_type_without_a_cost_names_what_is_missing():
    rows = [b.brake_type("BT-1"), b.brake_type("BT-2"), b.limit(10, "BT-2"), b.brake(9, brake_type="BT-2")]
    rows += [b.aircraft(1), b.aircraft(2), b.installation(9, "2024-12-31", aircraft=2)]
    rows += b.daily(2, "2025-01-01", 365, 4)
    rows += [b.reading(9, f"2025-{month:02d}-10", f"{50 - month}") for month in range(1, 13)]
    with pytest.raises(MissingAssumptionError, match=r"no cost per landing of BT-2 .* enter overhaul_cost"):
        claims(study.__wrapped__(more=rows), "BT-2", landings=1000.0, guaranteed_cost=10.0)


def test_spares_of_a_study_begin_with_its_own_month_ahead():
    months = spares(study(), months=6)
    assert [month.month for month in months] == [dt.date(2026, number, 1) for number in range(1, 7)]
    assert sum(month.mean for month in months) > 0


def test_the_same_study_gives_the_same_results():
    again = study.__wrapped__()
    assert refit(again, brakes=True) == refit(study(), brakes=True)
    assert changeouts(again) == changeouts(study())


def test_cost_of_a_study_is_in_its_currency_and_accrued_by_wear():
    told = cost(study())
    assert told.currency == "XXX"
    (own,) = told.types
    assert own.elements["overhaul"] == pytest.approx(20_000 * 0.022 / 40, rel=0.05)


def test_briefing_of_types_that_never_flew_is_refused_by_name():
    with pytest.raises(LifecycleError, match="BT-9"):
        briefing(study(), "BT-1", "BT-9")
