"""The brief from records to recommendation, on a small invented fleet fitted by the real chain."""

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from lifecycle.decision import Plan
from lifecycle.errors import BadAssumptionError, MissingAssumptionError, NotEnoughDataError
from lifecycle.exposure import measure_runs
from lifecycle.flying import learn_flying
from lifecycle.retrofit import _best, brief_retrofit
from lifecycle.study import briefing as briefing_of
from lifecycle.study import claims, open_study
from lifecycle.wear import fit_fleet
from tests import builders
from tests.priced import assumption, assumptions

ON = dt.date(2025, 1, 20)
START = pd.Timestamp("2024-01-01")
RATES = {"OLD": 0.030, "NEW": 0.018}
GIVEN = {
    "discount_rate": assumption("discount_rate", 0.05, "1", low=0.04, high=0.07),
    "overhaul_cost OLD": assumption("overhaul_cost", 14_000.0, low=13_000.0, high=15_500.0, brake_type="OLD"),
    "overhaul_cost NEW": assumption("overhaul_cost", 17_000.0, low=15_500.0, high=19_000.0, brake_type="NEW"),
    "kit_cost": assumption("kit_cost", 90_000.0, low=85_000.0, high=99_000.0),
    "kit_hours": assumption("kit_hours", 40.0, "h"),
    "labour_rate": assumption("labour_rate", 80.0, "EUR/h", low=75.0, high=90.0),
    "downtime_cost": assumption("downtime_cost", 3_000.0),
    "engineering_cost": assumption("engineering_cost", 50_000.0),
    "tooling_cost": assumption("tooling_cost", 20_000.0),
    "training_cost": assumption("training_cost", 10_000.0),
    "initial_spares": assumption("initial_spares", 4.0, "1"),
    "new_brake_cost": assumption("new_brake_cost", 22_000.0),
    "disposal_cost": assumption("disposal_cost", 200.0),
    "slots_per_month": assumption("slots_per_month", 1.0, "1/month"),
    "change_out_hours": assumption("change_out_hours", 5.0, "h"),
    "fuel_price_per_kg": assumption("fuel_price_per_kg", 0.8, "EUR/kg", low=0.65, high=1.05),
    "fuel_per_added_kg_hour": assumption("fuel_per_added_kg_hour", 0.03, "kg/kg/h", low=0.025, high=0.04),
}


def book(*extra, retires_on="2040-01-01", on_new=3, aircraft=9):
    """Nine aircraft at two bases, the last three on the new type; a reading every 24 days, no scatter in gauges."""
    rng = np.random.default_rng(1)
    types = [
        replace_columns(builders.brake_type(kind), mass_kg=kg) for kind, kg in (("OLD", 60.0), ("NEW", 42.0))
    ]
    rows = [*types, builders.limit(10, "OLD"), builders.limit(10, "NEW"), builders.aircraft_type(), *extra]
    for number in range(1, aircraft + 1):
        base, factor = ("Home", 1.0) if number % 2 else ("Away", 1.2)
        kind = "NEW" if number > aircraft - on_new else "OLD"
        rows.append(builders.aircraft(number, base=base, retires_on=retires_on))
        rows.append(builders.landings(number, "2024-01-01", 1158, to_day="2025-01-20", flight_hours=1737.0))
        for position in range(1, 5):
            serial = 10 * number + position
            rows.append(builders.brake(serial, brake_type=kind))
            rows.append(builders.installation(serial, "2024-01-01", aircraft=number, position=str(position)))
            rate = RATES[kind] * factor * rng.normal(1, 0.05)
            for day in range(24, 385, 24):
                on = (START + pd.Timedelta(days=day)).date().isoformat()
                rows.append(
                    builders.reading(serial, on, round(50 - rate * 3 * (day + 1) + rng.normal(0, 0.1), 1))
                )
    return builders.records(*rows)


def replace_columns(row, **values):
    return row._replace(columns={**row.columns, **values})


class Chain:
    def __init__(self, records):
        self.records = records
        self.runs = measure_runs(records, ON)
        self.fit = fit_fleet(self.runs)
        self.flying = learn_flying(records, ON)

    def brief(self, changes=None, *, seed=1, types=("OLD", "NEW"), draws=10_000):
        items = {**GIVEN, **(changes or {})}
        found = assumptions(*(item for item in items.values() if item is not None))
        return brief_retrofit(
            self.runs,
            self.fit,
            self.flying,
            self.records,
            found,
            from_type=types[0],
            to_type=types[1],
            on=ON,
            rng=np.random.default_rng(seed),
            study="S-1",
            edition="E-1",
            draws=draws,
        )


@pytest.fixture(scope="module")
def fleet():
    return Chain(book())


def priced(name, value):
    item = GIVEN[name]
    return {name: replace(item, value=value, low=None, high=None)}


def discounted(briefing, rate=0.05):
    return sum(flow.net / (1 + rate) ** flow.year for flow in briefing.by_year)


def test_a_good_change_is_recommended_and_a_dear_one_is_not(fleet):
    good, dear = fleet.brief(), fleet.brief(priced("kit_cost", 400_000.0))
    assert good.recommendation == "retrofit"
    assert good.npv > 0
    assert good.chance_by_retirement > 0.9
    assert good.payback_years_p50 < 15
    assert dear.recommendation == "do not retrofit"
    assert dear.npv < 0
    assert dear.payback_years_p50 is None
    assert dear.chance_by_retirement < 0.05
    assert dear.condition.startswith("Short by")


def test_the_same_change_is_not_worth_it_where_aircraft_retire_before_it_pays_back(fleet):
    soon = Chain(book(retires_on="2029-01-01")).brief()
    assert soon.recommendation == "do not retrofit"
    assert soon.npv < 0 < fleet.brief().npv
    assert soon.by_year[-1].year == 4


def test_present_value_is_the_sum_of_the_years_discounted(fleet):
    for changes in ({}, priced("kit_cost", 400_000.0), priced("discount_rate", 0.05)):
        briefing = fleet.brief(changes, draws=100)
        assert briefing.npv == pytest.approx(discounted(briefing), rel=1e-9)
        running = 0.0
        for flow in briefing.by_year:
            assert flow.net == pytest.approx(flow.current - flow.proposed)
            running += flow.net
            assert flow.cumulative == pytest.approx(running)


def test_savings_ratio_and_adjusted_rate_follow_from_the_money(fleet):
    briefing = fleet.brief(draws=100)
    years = briefing.by_year[-1].year
    assert briefing.airr == pytest.approx(1.05 * briefing.sir ** (1 / years) - 1)
    assert (briefing.sir > 1) == (briefing.npv > 0)


def test_the_brief_carries_its_numbers_and_every_assumption_used(fleet):
    briefing = fleet.brief(draws=100)
    assert (briefing.study, briefing.edition, briefing.currency, briefing.aircraft) == (
        "S-1",
        "E-1",
        "EUR",
        6,
    )
    assert set(briefing.assumptions) == set(GIVEN.values())
    assert [option.name for option in briefing.options] == ["keep", "as worn", "phased", "all at once"]
    assert briefing.options[0].npv == 0.0
    assert briefing.plan == "phased"
    assert briefing.npv == next(option.npv for option in briefing.options if option.name == "phased")


def test_the_edition_of_a_brief_is_named_by_its_study_and_types(fleet):
    def edition(number):
        asked = open_study(
            fleet.records, assumptions(*GIVEN.values()), on=ON, known_on=ON, seed=1, number=number
        )
        return briefing_of(asked, "OLD", "NEW").edition

    assert edition("S-1D87") == "S-1D87 OLD to NEW"
    assert edition("") == ""


def test_percentiles_are_in_order_and_the_same_seed_gives_the_same_brief(fleet):
    one, two, other = fleet.brief(), fleet.brief(), fleet.brief(seed=2)
    assert one == two
    assert one.npv_p10 != other.npv_p10
    assert one.npv_p10 == pytest.approx(other.npv_p10, rel=0.05)
    assert one.npv_p10 < one.npv < one.npv_p90
    assert one.payback_years_p10 < one.payback_years_p50 < one.payback_years_p90


def test_drivers_are_at_most_seven_widest_first_and_name_what_was_measured(fleet):
    drivers = fleet.brief(draws=100).drivers
    widths = [abs(one.npv_high - one.npv_low) for one in drivers]
    assert len(drivers) == 7
    assert widths == sorted(widths, reverse=True)
    assert any(one.name == "wear of NEW over OLD" for one in drivers)


def test_a_driver_at_its_end_is_the_brief_with_that_value(fleet):
    briefing = fleet.brief(draws=100)
    driver = next(one for one in briefing.drivers if one.name == "overhaul_cost NEW")
    assert fleet.brief(priced("overhaul_cost NEW", driver.high), draws=100).npv == pytest.approx(
        driver.npv_high
    )


def test_more_cost_or_a_higher_rate_never_raises_the_present_value(fleet):
    base = fleet.brief(draws=100).npv
    for name, value in (
        ("kit_cost", 95_000.0),
        ("downtime_cost", 4_000.0),
        ("engineering_cost", 60_000.0),
        ("initial_spares", 6.0),
        ("disposal_cost", 400.0),
        ("overhaul_cost NEW", 17_500.0),
        ("discount_rate", 0.06),
    ):
        assert fleet.brief(priced(name, value), draws=100).npv < base, name


def test_a_lighter_brake_earns_its_fuel(fleet):
    dearer_fuel = fleet.brief(priced("fuel_price_per_kg", 1.6), draws=100)
    assert dearer_fuel.npv > fleet.brief(draws=100).npv
    growing = fleet.brief({"growth": assumption("fuel_escalation", 0.03, "1")}, draws=100)
    assert growing.npv > fleet.brief(draws=100).npv


def test_every_missing_assumption_is_named_at_once_with_its_unit(fleet):
    gone = dict.fromkeys(["kit_cost", "discount_rate", "overhaul_cost NEW", "disposal_cost"])
    with pytest.raises(MissingAssumptionError) as caught:
        fleet.brief(gone)
    told = str(caught.value)
    for wanted in (
        "kit_cost (unit EUR) for NEW on twin",
        "discount_rate (unit 1) for NEW",
        "overhaul_cost (unit EUR)",
        "disposal_cost (unit EUR) for OLD",
        "under Assumptions",
        "enter 0 where there is no such cost",
    ):
        assert wanted in told


def on_two_aircraft_types(*extra):
    """OLD flies on twins, NEW on a quad."""
    quad = [
        builders.aircraft_type("quad"),
        builders.aircraft(9, aircraft_type="quad", retires_on="2040-01-01"),
    ]
    flown = builders.landings(9, "2024-01-01", 1158, to_day="2025-01-20", flight_hours=1737.0)
    brakes = [builders.brake(95, brake_type="NEW"), builders.installation(95, "2024-01-01", aircraft=9)]
    read = [
        builders.reading(95, f"2024-{month:02d}-20", round(50 - 1.6 * month, 1)) for month in range(2, 13)
    ]
    return Chain(book(*quad, flown, *brakes, *read, *extra, on_new=0, aircraft=3))


def test_types_without_an_aircraft_type_in_common_are_said_to_be_so_before_any_price():
    with pytest.raises(NotEnoughDataError) as caught:
        on_two_aircraft_types().brief(dict.fromkeys(GIVEN))
    assert str(caught.value).startswith(
        "NEW and OLD share no aircraft type: OLD has flown on twin, NEW has flown on quad"
    )
    listed = builders.Row(
        "effectivity",
        {"brake_type": "NEW", "aircraft_type": "twin", "weight_variant": "", "position_group": ""},
    )
    with pytest.raises(MissingAssumptionError):
        on_two_aircraft_types(listed).brief(dict.fromkeys(GIVEN))


def test_a_claim_between_types_without_an_aircraft_type_in_common_says_so_first():
    records = on_two_aircraft_types().records
    asked = open_study(records, assumptions(), on=ON, known_on=ON, seed=1)
    told = claims(asked, "NEW", against="OLD", ratio=1.2).warnings
    assert told[0].startswith("NEW and OLD share no aircraft type")
    assert len(told) > 1


def test_what_is_left_out_is_told(fleet):
    warnings = " ".join(fleet.brief(draws=100).warnings)
    assert "delay left out for OLD on twin: enter delay_fraction" in warnings
    assert "3 aircraft carry NEW already" in warnings
    assert "no budget_per_year entered" in warnings


def test_a_kit_too_cheap_to_hold_its_brakes_is_told(fleet):
    assert not any("a kit is taken to hold" in text for text in fleet.brief(draws=10).warnings)
    cheap = fleet.brief(priced("kit_cost", 10_000.0), draws=10)
    assert any("a kit is taken to hold the new brakes" in text for text in cheap.warnings)


def test_a_budget_too_small_for_one_aircraft_is_no_retrofit(fleet):
    briefing = fleet.brief({"budget": assumption("budget_per_year", 1_000.0, "EUR/year")})
    assert briefing.recommendation == "do not retrofit"
    assert "within the slots and the budget" in briefing.condition
    assert (briefing.npv, briefing.chance_by_retirement) == (0.0, 0.0)


def test_a_budget_spreads_conversions_over_years(fleet):
    briefing = fleet.brief({"budget": assumption("budget_per_year", 200_000.0, "EUR/year")}, draws=100)
    one_offs = [flow.year for flow in briefing.by_year if flow.net < 0]
    assert one_offs[:2] == [0, 1]
    assert briefing.npv < fleet.brief(draws=100).npv


def test_a_trial_of_one_aircraft_is_not_enough_data():
    briefing = Chain(book(on_new=1, aircraft=5)).brief(draws=200)
    assert briefing.recommendation == "not enough data"
    assert "NEW has 4 heat sink runs with readings" in briefing.condition


def test_a_type_that_never_flew_cannot_be_briefed():
    with pytest.raises(NotEnoughDataError, match="no braked landings on NEW"):
        Chain(book(on_new=0, aircraft=3)).brief()


def test_a_type_that_no_aircraft_carries_cannot_be_changed(fleet):
    with pytest.raises(NotEnoughDataError, match="no aircraft carries GONE"):
        fleet.brief(types=("GONE", "NEW"))


def test_a_change_from_a_type_to_itself_is_refused(fleet):
    with pytest.raises(BadAssumptionError, match="two different brake types"):
        fleet.brief(types=("OLD", "OLD"))


def test_two_currencies_are_refused(fleet):
    with pytest.raises(BadAssumptionError, match="EUR, USD"):
        fleet.brief({"tooling_cost": assumption("tooling_cost", 1.0, "USD")})


def test_aircraft_without_a_retirement_day_need_a_horizon():
    open_ended = Chain(book(retires_on=None))
    with pytest.raises(MissingAssumptionError, match=r"horizon_years \(unit year\)"):
        open_ended.brief()
    briefing = open_ended.brief({"horizon": assumption("horizon_years", 8.0, "year")}, draws=100)
    assert briefing.by_year[-1].year == 8


def test_an_aircraft_sold_is_not_converted():
    briefing = Chain(book(builders.change(1, "2024-12-01", status="sold"))).brief(draws=100)
    assert briefing.aircraft == 5


def test_a_plan_that_converts_nobody_does_not_hide_the_loss_of_those_that_do():
    def plan(name, last, worth, *, fits=True):
        return Plan(name, SimpleNamespace(last=last), SimpleNamespace(worth=np.array([worth])), fits)

    nobody, phased, too_fast = (
        plan("as worn", -1, 0.0),
        plan("phased", 3, -50.0),
        plan("now", 0, 10.0, fits=False),
    )
    assert _best((nobody, phased, too_fast)).name == "phased"
    assert _best((nobody,)).name == "as worn"


@pytest.mark.long
def test_chance_of_paying_back_is_the_share_of_plain_draws_that_do(fleet):
    """Slow plain reference: one brief at a time with every ranged assumption drawn by hand, 400 times."""
    rng = np.random.default_rng(11)
    ranged = {name: item for name, item in GIVEN.items() if item.low is not None}
    worth = []
    for _ in range(400):
        drawn = {}
        for name, item in ranged.items():
            score = rng.standard_normal()
            slope = (item.value - item.low if score < 0 else item.high - item.value) / 1.2815515655
            drawn |= priced(name, item.value + slope * score)
        worth.append(fleet.brief(drawn, draws=1).npv)
    briefing = fleet.brief()
    spread = briefing.npv_p90 - briefing.npv_p10
    assert np.quantile(worth, 0.1) == pytest.approx(briefing.npv_p10, abs=0.15 * spread)
    assert np.quantile(worth, 0.9) == pytest.approx(briefing.npv_p90, abs=0.15 * spread)
    assert np.mean(np.array(worth) >= 0) == pytest.approx(briefing.chance_by_retirement, abs=0.06)
