"""Published answers of brake energy, fuel from weight and CO2; the source stands beside each."""

import numpy as np
import pytest

from lifecycle import fuel
from lifecycle.landings import energy_per_wheel_j

KG_PER_LB = 0.45359237
J_PER_FT_LB = 1.3558179483


def test_energy_per_wheel_of_the_rule():
    """
    14 CFR 23.735(a)(2), pre-2017 text: 0.0443 W V^2 / N; 100,000 lb, 100 kt, 4 wheels: 11,075,000 ft-lb.

    The rational value, half m v^2 over 4 wheels, is 15.006 MJ or 11,067,546 ft-lb; both lie within 0.1 %.
    """
    rational = 0.5 * 100_000 * KG_PER_LB * (100 * 1852 / 3600) ** 2 / 4
    assert rational == pytest.approx(15.006e6, rel=1e-4)
    assert rational / J_PER_FT_LB == pytest.approx(11_067_546, abs=5)
    found = energy_per_wheel_j(*map(np.float64, (100_000 * KG_PER_LB, 100, 4)))
    assert found == pytest.approx(rational, rel=1e-3)
    assert found / J_PER_FT_LB == pytest.approx(0.0443 * 100_000 * 100**2 / 4, rel=1e-3)


def test_energy_grows_with_the_square_of_speed_and_falls_with_the_wheels():
    """Same rule: twice V is times 4, twice N is times one half."""
    one, fast, wide = energy_per_wheel_j(np.array(6e4), np.array([130, 260, 130]), np.array([4, 4, 8]))
    assert (fast / one, wide / one) == pytest.approx((4.0, 0.5))


def test_co2_of_a_gallon_of_jet_fuel():
    """40 CFR 98 Table C-1: 0.135 mmBtu a gallon x 72.22 kg a mmBtu = 9.7497 kg."""
    assert fuel.co2(0.135, 72.22) == pytest.approx(9.7497)


@pytest.mark.parametrize(
    ("kg_per_kg", "source"),
    [
        (9.7497 / (3.785411784 * 0.8), "40 CFR 98 Table C-1 at 0.8 kg a litre"),
        (71_500 * 44.1e-6, "IPCC 2006, jet kerosene: 71,500 kg a TJ, 44.1 MJ a kg"),
        (2.51973 / 0.8, "UK DESNZ 2025: 2.51973 kg a litre at 0.8 kg a litre"),
        (3.15, "published by an emissions verifier for Jet A-1"),
    ],
)
def test_published_co2_factors_agree_within_two_per_cent_of_the_mass_factor(kg_per_kg, source):
    """3.16 kg CO2 a kg of fuel (ICAO CORSIA, recalled; IPCC 2006 Table 3.6.9 note) against the factors named."""
    assert fuel.co2(1000, kg_per_kg) == pytest.approx(fuel.co2(1000, 3.16), rel=0.021), source


def test_transport_coefficient_of_the_manual():
    """Airbus, Getting to Grips with Fuel Economy, section 4.5: K 1.3, 1300 kg loaded, 1000 arrive, 300 burned."""
    assert fuel.transport_fuel(1000, 1.3) == pytest.approx(300)


@pytest.mark.parametrize(("hours", "percent"), [(1, 3.47), (2, 7.06), (4, 14.62)])
def test_breguet_at_constant_lift_to_drag(hours, percent):
    """Formula, computed independently: c 0.58 /h, L/D 17, per cent of landed weight."""
    burn = fuel.jet_burn_per_hour(0.58, 17)
    assert 100 * fuel.cruise_fuel(1.0, hours, burn) == pytest.approx(percent, abs=5e-3)


@pytest.mark.parametrize(
    ("hours", "per_second", "fraction"), [(3.0, 0.0001111, 0.9278), (1 / 3, 0.0001111, 0.9917)]
)
def test_loiter_weight_fractions_of_the_design_textbook(hours, per_second, fraction):
    """Raymer, Aircraft Design: A Conceptual Approach, ch. 3, the submarine hunter: L/D 16, C 0.4 /h, 3 h and 20 min."""
    burned = fuel.cruise_fuel(1.0, hours, fuel.jet_burn_per_hour(per_second * 3600, 16))
    assert 1 / (1 + burned) == pytest.approx(fraction, abs=5e-5)


def test_cruise_weight_fraction_of_the_design_textbook():
    """Same example: 1500 nm at 596.9 ft/s, C 0.5 /h, L/D 0.866 x 16: 0.8581."""
    hours = 9_114_000 / 596.9 / 3600
    burned = fuel.cruise_fuel(1.0, hours, fuel.jet_burn_per_hour(0.0001389 * 3600, 0.866 * 16))
    assert 1 / (1 + burned) == pytest.approx(0.8581, abs=5e-5)


def test_turboprop_burn_is_the_jet_law_with_power_turned_into_thrust():
    """Definition: 1 hp is 550 ft-lb/s, so at V knots a pound of thrust takes V x 6080/3600/550/eta horsepower."""
    power_per_thrust = 275 * 6080 / 3600 / 550 / 0.85
    jet = fuel.jet_burn_per_hour(0.5 * power_per_thrust, 14)
    assert fuel.turboprop_burn_per_hour(0.5, 275, 0.85, 14) == pytest.approx(jet, rel=1e-5)


@pytest.mark.parametrize(("hours", "kg_per_kg"), [(1, 0.0228), (2, 0.0500), (4, 0.1106)])
def test_breguet_lies_above_a_whole_flight_simulation(hours, kg_per_kg):
    """openap 2.6.2 run for an A320-size aircraft at 56 t, computed independently; Breguet is an upper estimate."""
    upper = float(fuel.cruise_fuel(1.0, hours, fuel.jet_burn_per_hour(0.58, 17)))
    assert kg_per_kg < upper < 1.6 * kg_per_kg
    assert 0.02 < kg_per_kg / hours < 0.05


@pytest.mark.parametrize(
    ("kg_per_kg_hour", "source"),
    [
        (0.135 / 4, "airliners.net thread 223015: E190, 135 kg for 1000 kg of take-off weight over 4 h"),
        (0.04, "pprune archive t-9473: 757, 4 % an hour"),
        (0.03, "pprune archive t-9473: L-1011, 3 % an hour"),
        (float(fuel.jet_burn_per_hour(0.58, 17)), "Breguet at c 0.58, L/D 17"),
    ],
)
def test_published_rates_of_added_fuel_lie_in_the_historical_band(kg_per_kg_hour, source):
    """Aircraft IT, spring 2012: 2.5 % to 5 % of the extra weight an hour, 'historical value'; a sanity band."""
    assert 25 <= fuel.added_fuel(1000, 1.0, kg_per_kg_hour) <= 50, source


def test_fuel_and_co2_of_a_lighter_shipset_over_a_year():
    """Computed independently: 320 kg landed x 0.0570 kg/kg x 1500 flights: 27.36 t fuel, 86.46 t CO2 at 3.16."""
    burned = 1500 * fuel.transport_fuel(320, 1.0570)
    assert burned == pytest.approx(27_360)
    assert fuel.co2(burned, 3.16) == pytest.approx(86_457.6)
