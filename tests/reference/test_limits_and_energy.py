"""Wear limits and stopping energy against published values."""

import datetime as dt

import numpy as np
import pytest

from lifecycle.exposure import measure_runs
from lifecycle.landings import energy_per_wheel_j, fly_days
from tests.builders import (
    aircraft,
    aircraft_type,
    brake_type,
    daily,
    event,
    installation,
    limit,
    reading,
    records,
)

ON = dt.date(2024, 6, 30)
LB_KG = 0.45359237
FT_LB_J = 1.3558179483314004


def run_with_limits_by_weight(weight_variant, *used_in):
    """A brake measured by wear used, its maximum 1.20 in up to 149,500 lb and 0.70 in at 160,000 lb."""
    fleet = records(
        brake_type(new_pin_mm=None),
        aircraft(1, weight_variant=weight_variant),
        daily(1, "2024-01-01", 60),
        installation(1, "2023-12-31"),
        limit("1.20", weight_variant="149500 lb", convention="used", unit="in", at_limit="allowed"),
        limit("0.70", weight_variant="160000 lb", convention="used", unit="in", at_limit="allowed"),
        *(
            reading(1, f"2024-02-0{day}", used, unit="in", convention="used")
            for day, used in enumerate(used_in, start=1)
        ),
    )
    return measure_runs(fleet, ON)


@pytest.mark.parametrize(("variant", "maximum_in"), [("149500 lb", "1.20"), ("160000 lb", "0.70")])
def test_one_brake_part_number_has_a_maximum_wear_for_each_take_off_weight(variant, maximum_in):
    """FAA AD 92-09-03: 1.20 in at 149,500 lb, 0.70 in at 160,000 lb; exactly the maximum is still within."""
    within, past = maximum_in, f"{float(maximum_in) + 0.00001:.5f}"
    measured = run_with_limits_by_weight(variant, within, past)
    assert measured.readings["at_or_below"].tolist() == [False, True]
    assert measured.readings["left_mm"].tolist() == pytest.approx([0, -0.000254], abs=1e-12)


def test_at_an_unknown_take_off_weight_there_is_no_limit_and_it_is_said():
    """FAA AD 92-09-03: the maximum wear depends on the weight; without it none can be named."""
    measured = run_with_limits_by_weight("", "0.90")
    assert measured.runs["limit_mm"].isna().all()
    assert measured.readings["at_or_below"].tolist() == [False]
    assert "weight variant not known" in measured.runs["warnings"][0][0]


def test_of_two_pins_at_0_05_and_0_00_in_the_shorter_decides():
    """
    NASA ASRS report 742970: one pin 0.05 in, the other flush.

    The records carry the shorter pin; flush with its bushing is off at any limit of length left.
    """
    fleet = records(
        daily(1, "2024-01-01", 60),
        installation(1, "2023-12-31"),
        limit("0.00", unit="in"),
        reading(1, "2024-02-01", min("0.05", "0.00", key=float), unit="in"),
        reading(1, "2024-02-02", "0.05", unit="in"),
    )
    read = measure_runs(fleet, ON).readings
    assert read["left_mm"].tolist() == pytest.approx([0.0, 1.27])
    assert read["at_or_below"].tolist() == [True, False]


def test_published_wear_a_landing_leaves_the_published_number_of_landings():
    """Narrow-body rule of thumb, 0.001 in a landing: 0.010 in left is 10 landings, 1/8 in is 125 (recalled)."""
    fleet = records(
        brake_type(new_pin_mm=50.8),
        daily(1, "2024-01-01", 100),
        installation(1, "2023-12-31"),
        limit("0.000", unit="in"),
        reading(1, "2024-04-09", "1.900", unit="in"),
    )
    read = measure_runs(fleet, ON).readings.iloc[0]
    rate = read["wear_mm"] / read["landings"]
    assert np.array([0.010, 0.125]) * 25.4 / rate == pytest.approx([10, 125])


def test_kinetic_energy_of_a_wheel_is_the_published_one():
    """14 CFR 23.735(a)(2), pre-2017 text: 0.0443 W V^2/N; 100,000 lb, 100 kt, 4 wheels: 11,075,000 ft-lb."""
    energy_j = energy_per_wheel_j(np.array([100_000 * LB_KG]), np.array([100.0]), np.array([4.0]))
    assert energy_j / FT_LB_J == pytest.approx([11_075_000], rel=1e-3)
    assert energy_j == pytest.approx([15.006e6], rel=1e-3)


def test_the_published_constants_of_both_unit_systems_are_one_law():
    """Half m v^2 with 1 kt = 1852/3600 m/s (exact) and 1 lb = 0.45359237 kg (exact): 0.1323 and 0.0443."""
    joules = 0.5 * (1852 / 3600) ** 2
    assert joules == pytest.approx(0.1323, rel=5e-4)
    assert joules * LB_KG / FT_LB_J == pytest.approx(0.0443, rel=1e-3)


def test_twice_the_speed_takes_four_times_the_energy_and_twice_the_wheels_half():
    """14 CFR 23.735(a)(2), pre-2017 text, by its formula."""
    mass, speed, wheels = np.array([60_000.0]), np.array([130.0]), np.array([4.0])
    once = energy_per_wheel_j(mass, speed, wheels)
    assert energy_per_wheel_j(mass, 2 * speed, wheels) / once == pytest.approx([4])
    assert energy_per_wheel_j(mass, speed, 2 * wheels) / once == pytest.approx([0.5])


def test_a_rejected_take_off_counts_as_many_landings_as_its_energy_per_wheel():
    """14 CFR 23.735(a)(2): 160,000 lb at 140 kt against a landing of 60 t at 130 kt, wheels cancel."""
    fleet = records(
        aircraft_type(landing_mass_kg=60_000, touchdown_speed_kt=130),
        event(1, "2024-02-01", mass_kg=160_000 * LB_KG, speed_kt=140),
    )
    weight = (160_000 * LB_KG * 140**2) / (60_000 * 130**2)
    assert fly_days(fleet, ON).braked[-1] == pytest.approx(weight)
