"""What is recommended, and on what condition."""

from dataclasses import replace

import pytest

from lifecycle.drivers import Driver, Input
from lifecycle.verdict import Evidence, amount, figure, verdict
from tests.priced import assumption

RATIO = Driver("wear of NEW over OLD", 0.55, 0.65, 900.0, 100.0)
KIT = Driver("kit_cost", 80.0, 150.0, 1_000.0, -700.0)
RATIO_INPUT = Input("wear of NEW over OLD", 0.6, 0.55, 0.65)
EVIDENCE = Evidence(
    npv=500.0,
    chance=0.9,
    yearly=50.0,
    years=10,
    converts=True,
    inputs=(
        RATIO_INPUT,
        Input("kit_cost", 100.0, 80.0, 150.0, assumption("kit_cost", 100.0, low=80.0, high=150.0)),
    ),
    drivers=(KIT, RATIO),
    ratio=RATIO,
    runs=(20, 8),
    types=("OLD", "NEW"),
    compared=True,
)


def said(**changes):
    return verdict(replace(EVIDENCE, **changes), currency="EUR")


def condition(**changes):
    """With plain spaces."""
    return (
        said(**changes).condition.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
    )


def test_a_gain_that_is_likely_is_recommended_with_what_would_turn_it():
    found = said()
    assert found.recommendation == "retrofit"
    assert condition() == (
        "Worth EUR 50.0 a year over 10 years. Holds as long as the kit cost stays below EUR 121; its own P90, EUR 150, "
        "already breaks that."
    )


def test_a_loss_is_not_recommended_and_says_what_would_turn_it():
    found = said(npv=-200.0, chance=0.1, yearly=-20.0)
    assert found.recommendation == "do not retrofit"
    assert condition(npv=-200.0, chance=0.1, yearly=-20.0) == (
        "Short by EUR 20.0 a year over 10 years. Stands as long as the kit cost stays above EUR 96.7; its own P10, "
        "EUR 80.0, already breaks that."
    )


def test_an_input_is_named_in_words_with_its_scope_and_its_unit():
    fuel = assumption("fuel_price_per_kg", 0.8, "EUR/kg", low=0.6, high=1.0, brake_type="NEW", base="Home")
    one = Input("fuel_price_per_kg NEW Home", 0.8, 0.6, 1.0, fuel)
    driver = Driver(one.name, 0.6, 1.0, 900.0, -500.0)
    assert condition(inputs=(RATIO_INPUT, one), drivers=(driver, RATIO), yearly=123_456.0) == (
        "Worth EUR 123 000 a year over 10 years. Holds as long as the fuel price per kg of NEW at Home stays below "
        "EUR 0.900/kg; its own P90, EUR 1.00/kg, already breaks that."
    )


def test_figures_have_three_digits_and_no_exponent():
    told = [figure(value) for value in (0.0, 9.996, 0.00123, 12_345.0, -0.5)]
    thin = "\N{NARROW NO-BREAK SPACE}"
    assert told == ["0.00", "10.0", "0.00123", f"12{thin}300", "\N{MINUS SIGN}0.500"]
    assert amount(3_424_000.0, "EUR").split() == ["EUR", "3.42", "million"]


def test_a_gain_that_is_less_likely_than_not_is_not_recommended():
    found = said(chance=0.45, ratio=replace(RATIO, npv_high=200.0))
    assert found.recommendation == "do not retrofit"


def test_no_single_input_may_turn_it():
    found = said(drivers=(replace(KIT, npv_high=100.0), RATIO))
    assert found.condition.endswith("Holds over the range of every single input.")


@pytest.mark.parametrize("runs", [(4, 20), (20, 4)])
def test_few_runs_are_not_enough_data_whatever_the_gain(runs):
    found = said(runs=runs)
    assert found.recommendation == "not enough data"
    assert "has 4 heat sink runs with readings, at least 5 are wanted" in found.condition


def test_an_answer_that_hangs_on_the_measured_wear_asks_for_readings_first():
    found = said(chance=0.6, ratio=replace(RATIO, npv_high=-300.0))
    assert found.recommendation == "not enough data"
    assert (
        "The wear of NEW over OLD is 0.550 to 0.650 (8 in 10); the answer turns at 0.631" in found.condition
    )


@pytest.mark.parametrize(
    ("chance", "npv", "word"), [(0.85, 500.0, "retrofit"), (0.15, -500.0, "do not retrofit")]
)
def test_a_sure_answer_stands_although_wear_could_turn_it(chance, npv, word):
    turned = replace(RATIO, npv_low=-300.0 if npv > 0 else 300.0, npv_high=npv)
    assert said(chance=chance, npv=npv, yearly=npv / 10, ratio=turned).recommendation == word


def test_no_aircraft_in_time_is_no_retrofit():
    found = said(npv=0.0, chance=0.0, yearly=0.0, converts=False)
    assert found.recommendation == "do not retrofit"
    assert "No aircraft can be converted before it retires" in found.condition


def test_types_that_never_flew_side_by_side_are_not_enough_data():
    found = said(compared=False)
    assert found.recommendation == "not enough data"
    assert "NEW has not flown beside OLD" in found.condition
