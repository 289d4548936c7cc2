"""Cost per landing of a fleet: accrual, interval, contracts, what is left out, like for like."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.cost import cost_per_landing
from lifecycle.errors import BadAssumptionError, MissingAssumptionError
from tests.builders import brake, brake_type, installation, landings, limit, records, shop_visit, stock
from tests.priced import DATED, assumption, assumptions, fleet, run, type_fit

STEEL, CARBON = "OLD", "NEW"
OVERHAULS = (
    assumption("overhaul_cost", 14_000.0, brake_type=STEEL),
    assumption("overhaul_cost", 26_000.0, brake_type=CARBON),
)
ALL = (
    *OVERHAULS,
    assumption("scrap_fraction", 0.05, "1"),
    assumption("new_brake_cost", 60_000.0),
    assumption("change_out_hours", 6.0, "h"),
    assumption("labour_rate", 80.0, "EUR/h"),
    assumption("delay_fraction", 0.1, "1"),
    assumption("delay_cost", 5_000.0),
    assumption("shipping_cost", 500.0),
    assumption("holding_rate", 0.1, "1"),
    assumption("shop_turnaround_days", 30.0, "d"),
    assumption("fuel_price_per_kg", 0.8, "EUR/kg"),
    assumption("fuel_per_added_kg_hour", 0.03, "kg/kg/h"),
    assumption("co2_price_per_kg", 0.075, "EUR/kg"),
    assumption("co2_per_kg_fuel", 3.16, "kg/kg"),
)


def two_types():
    """Four aircraft a type over two bases, four brakes each kept short to one; wear 0.04 and 0.02 mm."""
    rows = []
    for number in range(8):
        kind, rate = (STEEL, 0.04) if number < 4 else (CARBON, 0.02)
        base, factor = ("Home", 1.0) if number % 2 else ("Away", 1.25)
        rows.append(run(number + 1, kind, rate * factor, aircraft=number + 1, base=base))
    return rows


def ledger(*rows, masses=(60.0, 45.0)):
    types = [replace_mass(brake_type(kind), kg) for kind, kg in zip((STEEL, CARBON), masses, strict=True)]
    brakes = [brake(number, brake_type=STEEL if number < 5 else CARBON) for number in range(1, 9)]
    hours = landings(1, "2025-06-01", 10, flight_hours=15.0)
    return records(*types, limit(10, STEEL), limit(10, CARBON), *brakes, hours, *rows)


def replace_mass(row, mass_kg):
    return row._replace(columns={**row.columns, "mass_kg": mass_kg})


def costed(rows, items, book=None, types=None):
    runs, fit = fleet(*rows, types=types)
    found = cost_per_landing(runs, fit, book or ledger(), assumptions(*items), on=DATED)
    return found, {one.brake_type: one for one in found.types}


def test_overhaul_is_its_cost_times_wear_rate_over_usable_pin():
    _, by_type = costed([run(1, STEEL, 0.04, landings=500.0)], OVERHAULS)
    assert by_type[STEEL].elements["overhaul"] == pytest.approx(14_000 * 0.04 / 40)


def test_overhaul_accrues_from_the_first_landing_whatever_has_been_invoiced():
    young = [run(1, CARBON, 0.02, landings=3.0)]
    _, by_type = costed(young, OVERHAULS)
    assert by_type[CARBON].elements["overhaul"] == pytest.approx(26_000 * 0.02 / 40)


def test_a_type_over_two_bases_is_a_ratio_of_sums_and_not_a_mean_of_ratios():
    rows = [
        run(1, STEEL, 0.02, landings=3000.0, base="Home"),
        run(2, STEEL, 0.06, landings=1000.0, base="Away", aircraft=2),
    ]
    _, by_type = costed(rows, OVERHAULS)
    assert by_type[STEEL].elements["overhaul"] == pytest.approx(
        14_000 * (3000 * 0.02 + 1000 * 0.06) / 40 / 4000
    )


def test_elements_are_what_their_formulas_say():
    _, by_type = costed(two_types(), ALL)
    steel = by_type[STEEL]
    runs_used = 0.045 / 40
    assert steel.elements["procurement"] == pytest.approx(0.05 * 46_000 * runs_used)
    assert steel.elements["change-out labour"] == pytest.approx(480 * runs_used)
    assert steel.elements["fuel"] == pytest.approx(0.8 * 0.03 * 60 * 1.5)
    assert steel.elements["CO2"] == pytest.approx(0.075 * 3.16 * 0.03 * 60 * 1.5)
    assert steel.elements["spares holding"] == pytest.approx(0.1 * 60_000 * runs_used * 30 / 365.25)
    assert not steel.warnings


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.005, 0.08), st.floats(1, 5000)), min_size=1, max_size=6),
    st.sets(st.integers(2, len(ALL) - 1)),
)
def test_elements_sum_to_the_cost_and_the_interval_holds_it(stretches, kept):
    rows = [run(1, STEEL, rate, aircraft=n, landings=count) for n, (rate, count) in enumerate(stretches)]
    found, _ = costed(rows, [*OVERHAULS, *(ALL[place] for place in kept)])
    for one in found.types:
        assert sum(one.elements.values()) == pytest.approx(one.cost_per_landing, rel=1e-12)
        assert one.low <= one.cost_per_landing <= one.high
        assert "overhaul" in one.elements


def test_unscheduled_removals_cost_labour_delay_and_shipping():
    book = ledger(installation(1, "2025-01-01", "2025-08-01", removal_reason="leak"))
    rows = [run(1, STEEL, 0.04, landings=500.0), run(2, STEEL, 0.04, landings=500.0)]
    runs, fit = fleet(*rows)
    runs.spans.loc[0, "to_on"] = pd.Timestamp("2025-08-01")
    found = cost_per_landing(runs, fit, book, assumptions(*ALL), on=DATED).types[0]
    assert found.elements["unscheduled removals"] == pytest.approx(480 / 1000)
    assert found.elements["delay"] == pytest.approx(0.1 * 5_000 / 1000)
    assert found.elements["shipping"] == pytest.approx(500 * (0.04 / 40 + 1 / 1000))


@pytest.mark.parametrize("reason", ["worn", "opportunity", "lease return"])
def test_removals_that_were_planned_are_not_unscheduled(reason):
    book = ledger(installation(1, "2025-01-01", "2025-08-01", removal_reason=reason))
    runs, fit = fleet(run(1, STEEL, 0.04))
    runs.spans.loc[0, "to_on"] = pd.Timestamp("2025-08-01")
    found = cost_per_landing(runs, fit, book, assumptions(*ALL), on=DATED).types[0]
    assert found.elements["unscheduled removals"] == 0.0


def test_recorded_repairs_are_spread_over_landings_and_another_currency_is_told():
    book = ledger(
        shop_visit(1, "2025-02-01", "2025-03-01", "repair", cost=900.0, currency="EUR"),
        shop_visit(2, "2025-02-01", "2025-03-01", "repair", cost=400.0, currency="USD"),
        shop_visit(3, "2025-02-01", "2025-03-01", "overhaul", cost=15_000.0, currency="EUR"),
    )
    _, by_type = costed([run(1, STEEL, 0.04)], ALL, book)
    assert by_type[STEEL].elements["repairs"] == pytest.approx(0.9)
    assert any("in USD are left out" in text for text in by_type[STEEL].warnings)


def test_counted_stock_sets_the_cost_of_holding_spares():
    book = ledger(stock("Home", STEEL, "2025-01-01", 9), stock("Home", STEEL, "2025-06-01", 1, 1))
    _, by_type = costed([run(number, STEEL, 0.04) for number in (1, 2, 3, 4)], ALL, book)
    landings_a_year = 1000 / 365 * 365.25
    assert by_type[STEEL].elements["spares holding"] == pytest.approx(6_000 * 2 / 4 / landings_a_year)


def test_refurbishments_lower_the_overhaul_in_their_share():
    book = ledger(
        shop_visit(1, "2025-01-01", "2025-02-01", "refurbish"), shop_visit(2, "2025-01-01", "2025-02-01")
    )
    items = [*OVERHAULS, assumption("refurbish_cost", 8_000.0, brake_type=STEEL)]
    _, by_type = costed([run(1, STEEL, 0.04)], items, book)
    assert by_type[STEEL].elements["overhaul"] == pytest.approx(11_000 * 0.04 / 40)


def test_a_price_for_one_base_acts_there_only():
    rows = [run(1, STEEL, 0.04, base="Home"), run(2, STEEL, 0.04, base="Away", aircraft=2, landings=3000.0)]
    items = [*OVERHAULS, assumption("shipping_cost", 100.0), assumption("shipping_cost", 900.0, base="Away")]
    _, by_type = costed(rows, items)
    assert by_type[STEEL].elements["shipping"] == pytest.approx((0.25 * 100 + 0.75 * 900) * 0.001)


def test_a_brake_by_the_hour_costs_its_rate_and_no_overhaul():
    book = records(brake_type(STEEL), brake(1, brake_type=STEEL, arrangement="by the hour"), limit(10, STEEL))
    items = [*ALL, assumption("hourly_rate_per_landing", 25.0)]
    _, by_type = costed([run(1, STEEL, 0.04)], items, book)
    elements = by_type[STEEL].elements
    assert elements["by the hour"] == 25.0
    assert elements["overhaul"] == 0.0
    assert not {"procurement", "repairs", "shipping", "spares holding"} & set(elements)


def test_a_mixed_arrangement_counts_each_landing_once():
    book = records(
        brake_type(STEEL),
        brake(1, brake_type=STEEL, arrangement="by the hour"),
        brake(2, brake_type=STEEL),
        limit(10, STEEL),
    )
    rows = [run(1, STEEL, 0.04, landings=1000.0), run(2, STEEL, 0.04, landings=3000.0)]
    items = [*OVERHAULS, assumption("hourly_rate_per_landing", 25.0)]
    _, by_type = costed(rows, items, book)
    assert by_type[STEEL].elements["by the hour"] == pytest.approx(0.25 * 25)
    assert by_type[STEEL].elements["overhaul"] == pytest.approx(0.75 * 14)


def test_a_contract_without_its_rate_has_no_cost():
    book = records(brake_type(STEEL), brake(1, brake_type=STEEL, arrangement="by the hour"))
    with pytest.raises(MissingAssumptionError, match="hourly_rate_per_landing"):
        costed([run(1, STEEL, 0.04)], OVERHAULS, book)


def test_missing_elements_are_left_out_by_name_and_never_zero():
    _, by_type = costed(two_types(), OVERHAULS)
    told = " ".join(by_type[STEEL].warnings)
    for name in ("procurement", "change-out labour", "delay", "shipping", "spares holding", "fuel"):
        assert name not in by_type[STEEL].elements
        assert f"{name} left out for {STEEL} on twin: enter" in told
    assert "delay_cost (unit EUR)" in told


def test_a_type_without_an_overhaul_cost_is_named_and_the_others_stand():
    found, by_type = costed(two_types(), OVERHAULS[:1])
    assert list(by_type) == [STEEL]
    assert f"overhaul left out for {CARBON} on twin: enter overhaul_cost (unit EUR)" in found.warnings[0]


def test_no_overhaul_cost_at_all_is_an_error_that_names_all():
    with pytest.raises(MissingAssumptionError) as caught:
        costed(two_types(), [assumption("labour_rate", 80.0, "EUR/h")])
    assert STEEL in str(caught.value)
    assert CARBON in str(caught.value)


def test_a_type_without_a_wear_limit_is_named():
    rows = [*two_types()[:4], run(5, CARBON, 0.02, limit=float("nan"))]
    found, _ = costed(rows, OVERHAULS)
    assert found.warnings == (f"no cost for {CARBON}: enter its wear limit and new_pin_mm",)


def test_two_currencies_are_refused():
    with pytest.raises(BadAssumptionError, match="EUR, USD"):
        costed(two_types(), [*OVERHAULS, assumption("labour_rate", 80.0, "USD/h")])


def test_a_brake_whose_start_is_not_known_counts_at_its_rate():
    rows = [run(1, STEEL, 0.04, known_start=False)]
    runs, fit = fleet(*rows)
    fit.posterior["wear_mm"] = 35.0
    found = cost_per_landing(runs, fit, ledger(), assumptions(*OVERHAULS), on=DATED)
    assert found.types[0].elements["overhaul"] == pytest.approx(14.0)


def test_wear_since_the_last_reading_goes_on_at_the_posterior_rate():
    runs, fit = fleet(run(1, STEEL, 0.04))
    fit.posterior["wear_mm"] = 30.0
    fit.posterior["landings_at"] = 600.0
    found = cost_per_landing(runs, fit, ledger(), assumptions(*OVERHAULS), on=DATED)
    assert found.types[0].elements["overhaul"] == pytest.approx(14_000 * (30 + 16) / 40 / 1000)


def test_the_interval_adds_ranges_in_quadrature():
    items = [
        assumption("overhaul_cost", 14_000.0, low=12_000.0, high=17_000.0),
        assumption("change_out_hours", 10.0, "h", low=8.0, high=14.0),
        assumption("labour_rate", 100.0, "EUR/h"),
    ]
    _, by_type = costed([run(1, STEEL, 0.04)], items)
    found = by_type[STEEL]
    assert found.cost_per_landing - found.low == pytest.approx((2.0**2 + 0.2**2) ** 0.5)
    assert found.high - found.cost_per_landing == pytest.approx((3.0**2 + 0.4**2) ** 0.5)


def test_the_interval_takes_the_wider_of_the_fit_and_the_scatter_between_aircraft():
    fitted = (type_fit(STEEL, 0.04, low=0.036, high=0.046),)
    _, by_type = costed([run(1, STEEL, 0.04)], OVERHAULS, types=fitted)
    assert (by_type[STEEL].low, by_type[STEEL].high) == pytest.approx((14 * 0.9, 14 * 1.15))
    scattered = [run(n, STEEL, 0.04 + 0.02 * (-1) ** n, aircraft=n) for n in (1, 2, 3, 4)]
    _, by_type = costed(scattered, OVERHAULS, types=fitted)
    assert by_type[STEEL].high > 14 * 1.3


def test_like_for_like_is_the_wear_ratio_times_the_ratio_of_overhaul_cost_per_usable_millimetre():
    rows = [
        row | {"start_mm": 60.0} if row["brake_type"] == CARBON else row | {"landings": 2000.0}
        for row in two_types()
    ]
    found, by_type = costed(rows, OVERHAULS)
    assert found.reference_type == STEEL
    assert by_type[STEEL].like_for_like_ratio == by_type[STEEL].wear_ratio == 1.0
    assert by_type[CARBON].wear_ratio == pytest.approx(0.5)
    assert by_type[CARBON].like_for_like_ratio == pytest.approx(0.5 * (26_000 / 50) / (14_000 / 40))
    assert by_type[CARBON].ratio_low <= by_type[CARBON].like_for_like_ratio <= by_type[CARBON].ratio_high


def test_types_on_different_aircraft_types_are_not_compared():
    rows = [row | {"aircraft_type": "quad"} if row["brake_type"] == CARBON else row for row in two_types()]
    found, by_type = costed(rows, OVERHAULS)
    other = by_type[{STEEL: CARBON, CARBON: STEEL}[found.reference_type]]
    assert other.like_for_like_ratio is None
    assert any("share no aircraft type" in text for text in other.warnings)


def test_a_type_by_the_hour_has_a_wear_ratio_and_no_cost_ratio():
    book = records(
        brake_type(STEEL),
        brake_type(CARBON),
        *(brake(n, brake_type=STEEL) for n in range(1, 5)),
        *(brake(n, brake_type=CARBON, arrangement="by the hour") for n in range(5, 9)),
    )
    rows = [row | {"landings": 2000.0} if row["brake_type"] == STEEL else row for row in two_types()]
    _, by_type = costed(rows, [*OVERHAULS, assumption("hourly_rate_per_landing", 25.0)], book)
    assert by_type[CARBON].wear_ratio == pytest.approx(0.5)
    assert by_type[CARBON].like_for_like_ratio is None
    assert any("by-the-hour" in text for text in by_type[CARBON].warnings)


def test_every_fuel_route_is_shown_with_the_chosen_one_marked():
    items = [*ALL, assumption("transport_coefficient", 1.05, "kg/kg")]
    _, by_type = costed(two_types(), items)
    routes = {route.name: route for route in by_type[STEEL].fuel_routes}
    assert routes["added fuel"].chosen
    assert not routes["transport coefficient"].chosen
    assert routes["transport coefficient"].fuel_kg == pytest.approx(0.05 * 60)


def test_the_lighter_brake_saves_the_fuel_of_the_difference():
    _, by_type = costed(two_types(), ALL)
    saved = by_type[STEEL].elements["fuel"] - by_type[CARBON].elements["fuel"]
    assert saved == pytest.approx(0.8 * 0.03 * 15 * 1.5)
