"""What is recommended, and on what condition."""

from dataclasses import replace

import pytest

from lifecycle.drivers import Driver, Input
from lifecycle.verdict import Evidence, verdict

RATIO = Driver("wear of NEW over OLD", 0.55, 0.65, 900.0, 100.0)
KIT = Driver("kit_cost", 80.0, 150.0, 1_000.0, -700.0)
EVIDENCE = Evidence(
    npv=500.0,
    chance=0.9,
    yearly=50.0,
    years=10,
    converts=True,
    inputs=(Input("wear of NEW over OLD", 0.6, 0.55, 0.65), Input("kit_cost", 100.0, 80.0, 150.0)),
    drivers=(KIT, RATIO),
    ratio=RATIO,
    runs=(20, 8),
    types=("OLD", "NEW"),
    compared=True,
)


def said(**changes):
    return verdict(replace(EVIDENCE, **changes), currency="EUR")


def test_a_gain_that_is_likely_is_recommended_with_what_would_turn_it():
    found = said()
    assert found.recommendation == "retrofit"
    assert found.condition == "Worth 50 EUR a year over 10 years. Holds as long as kit_cost stays below 121."


def test_a_loss_is_not_recommended_and_says_what_would_turn_it():
    found = said(npv=-200.0, chance=0.1, yearly=-20.0)
    assert found.recommendation == "do not retrofit"
    assert (
        found.condition
        == "Short by 20 EUR a year over 10 years. Stands as long as kit_cost stays above 96.7."
    )


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
    assert "The wear of NEW over OLD is 0.55 to 0.65 (8 in 10); the answer turns at 0.631" in found.condition


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
