"""The formula of each element, and what is asked for where something is missing."""

from dataclasses import replace

import pytest

from lifecycle.elements import ELEMENTS, Use, applies, fuel_routes, missing, renewal_cost

USE = Use(
    brake_type="BT-1",
    aircraft_type="twin",
    base="Home",
    weight=1.0,
    runs_used=1 / 1000,
    unscheduled=1 / 5000,
    repairs=0.4,
    flight_hours=1.5,
    mass_kg=60.0,
    spare_years=1e-4,
    refurbished=0.0,
    by_the_hour=False,
)
VALUES = {
    "overhaul_cost": 20_000.0,
    "hourly_rate_per_landing": 25.0,
    "scrap_fraction": 0.05,
    "new_brake_cost": 60_000.0,
    "change_out_hours": 6.0,
    "labour_rate": 80.0,
    "delay_fraction": 0.1,
    "delay_cost": 5_000.0,
    "shipping_cost": 500.0,
    "holding_rate": 0.1,
    "fuel_price_per_kg": 0.8,
    "fuel_per_added_kg_hour": 0.03,
    "co2_price_per_kg": 0.075,
    "co2_per_kg_fuel": 3.16,
}


def cost(name, use=USE, **values):
    element = next(one for one in ELEMENTS if one.name == name)
    return float(element.cost(use, {**VALUES, **values}))


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("overhaul", 20_000 / 1000),
        ("by the hour", 25.0),
        ("procurement", 0.05 * (60_000 - 20_000) / 1000),
        ("change-out labour", 6 * 80 / 1000),
        ("unscheduled removals", 6 * 80 / 5000),
        ("repairs", 0.4),
        ("delay", 0.1 * 5_000 / 5000),
        ("shipping", 500 * (1 / 1000 + 1 / 5000)),
        ("spares holding", 0.1 * 60_000 * 1e-4),
        ("fuel", 0.8 * 60 * 0.03 * 1.5),
        ("CO2", 0.075 * 3.16 * 60 * 0.03 * 1.5),
    ],
)
def test_each_element_by_hand(name, answer):
    assert cost(name) == pytest.approx(answer, rel=1e-12)


def test_every_element_has_a_case_by_hand():
    assert len(ELEMENTS) == 11


def test_a_scrapped_brake_costs_a_new_one_instead_of_an_overhaul():
    together = cost("overhaul") + cost("procurement")
    assert together == pytest.approx((0.95 * 20_000 + 0.05 * 60_000) / 1000)


def test_refurbishments_count_in_the_share_that_the_shop_did():
    use = replace(USE, refurbished=0.25)
    assert renewal_cost(use, {**VALUES, "refurbish_cost": 8_000.0}) == pytest.approx(17_000.0)
    assert renewal_cost(use, VALUES) == pytest.approx(20_000.0)


def test_without_a_stock_count_the_spares_are_those_that_cover_the_shop():
    use = replace(USE, spare_years=None)
    expected = 0.1 * 60_000 * (1 / 1000 + 1 / 5000) * 36.525 / 365.25
    assert cost("spares holding", use, shop_turnaround_days=36.525) == pytest.approx(expected)


def test_under_a_contract_the_rate_stands_for_what_it_covers_and_never_both():
    use = replace(USE, by_the_hour=True)
    names = {one.name for one in ELEMENTS if applies(one, use, VALUES)}
    assert names == {"by the hour", "change-out labour", "unscheduled removals", "delay", "fuel", "CO2"}
    owned = {one.name for one in ELEMENTS if applies(one, USE, VALUES)}
    assert "by the hour" not in owned
    assert "overhaul" in owned


def test_co2_counts_only_where_it_has_a_price():
    values = {name: value for name, value in VALUES.items() if name != "co2_price_per_kg"}
    assert not any(applies(one, USE, values) for one in ELEMENTS if one.name == "CO2")


@pytest.mark.parametrize("left_out", sorted(set(VALUES) - {"co2_price_per_kg", "fuel_per_added_kg_hour"}))
def test_a_missing_assumption_is_asked_for_with_its_unit(left_out):
    values = {name: value for name, value in VALUES.items() if name != left_out}
    asked = [text for one in ELEMENTS for text in missing(one, USE, values)]
    assert any(text.startswith(f"{left_out} (unit ") for text in asked)
    assert not [text for one in ELEMENTS for text in missing(one, USE, VALUES)]


def test_missing_records_are_asked_for_by_name():
    fuel = next(one for one in ELEMENTS if one.name == "fuel")
    holding = next(one for one in ELEMENTS if one.name == "spares holding")
    assert missing(fuel, replace(USE, mass_kg=None), VALUES) == ("mass_kg of brake type BT-1",)
    assert "flight_hours of landings of twin" in missing(fuel, replace(USE, flight_hours=None), VALUES)[0]
    assert "stock count" in missing(holding, replace(USE, spare_years=None), VALUES)[0]


def test_every_fuel_route_is_shown_and_the_first_is_chosen():
    inputs = {
        "transport_coefficient": 1.05,
        "thrust_fuel_per_hour": 0.58,
        "lift_to_drag": 17.0,
        "power_fuel_per_hp_hour": 0.5,
        "cruise_speed_kt": 275.0,
        "propeller_efficiency": 0.85,
    }
    routes = fuel_routes(USE, {**VALUES, **inputs})
    assert list(routes) == ["added fuel", "transport coefficient", "Breguet jet", "Breguet turboprop"]
    assert all(1.0 < kg < 4.0 for kg in routes.values())
    assert next(iter(fuel_routes(USE, inputs))) == "transport coefficient"
    assert next(iter(fuel_routes(replace(USE, flight_hours=None), inputs))) == "transport coefficient"
    assert fuel_routes(replace(USE, mass_kg=None), inputs) == {}
