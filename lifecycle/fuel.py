"""Brake weight turned into fuel and CO2, by three routes of which a study chooses one."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Horsepower into pounds of thrust at one knot: 550 x 3600 / 6080, with the handbooks' nautical mile of 6,080 ft
# (the international mile gives 325.87, 0.06 % more).
LB_KT_PER_HP = 325.66


def added_fuel(added_kg: npt.ArrayLike, hours: npt.ArrayLike, per_kg_hour: npt.ArrayLike) -> FloatArray:
    """
    Fuel of one flight for weight carried, from the fuel per added kilogram and flight hour.

    Parameters
    ----------
    added_kg : array_like
        Weight carried, kilograms.
    hours : array_like
        Flight hours.
    per_kg_hour : array_like
        Kilograms of fuel per added kilogram and hour. No default: published bands run from 0.02 to 0.05.

    Returns
    -------
    array of float
        Fuel, kilograms.
    """
    return np.asarray(np.asarray(added_kg) * np.asarray(hours) * np.asarray(per_kg_hour))


def jet_burn_per_hour(thrust_fuel_per_hour: npt.ArrayLike, lift_to_drag: npt.ArrayLike) -> FloatArray:
    """
    Share of its own weight that a jet burns in an hour of cruise.

    Parameters
    ----------
    thrust_fuel_per_hour : array_like
        Thrust specific fuel consumption, 1/h (pounds of fuel per pound of thrust and hour).
    lift_to_drag : array_like
        Lift-to-drag ratio in cruise.

    Returns
    -------
    array of float
        ``c / (L/D)``, 1/h.

    References
    ----------
    Breguet; for example Raymer 1992, Aircraft Design, section 3.4 (loiter weight fraction).
    """
    return np.asarray(np.asarray(thrust_fuel_per_hour) / np.asarray(lift_to_drag))


def turboprop_burn_per_hour(
    power_fuel_lb_per_hp_hour: npt.ArrayLike,
    speed_kt: npt.ArrayLike,
    propeller_efficiency: npt.ArrayLike,
    lift_to_drag: npt.ArrayLike,
) -> FloatArray:
    """
    Share of its own weight that a turboprop burns in an hour of cruise.

    Parameters
    ----------
    power_fuel_lb_per_hp_hour : array_like
        Power specific fuel consumption, pounds per horsepower and hour.
    speed_kt : array_like
        True airspeed, knots.
    propeller_efficiency : array_like
        Fraction.
    lift_to_drag : array_like
        Lift-to-drag ratio in cruise.

    Returns
    -------
    array of float
        ``c_p V / (325.66 eta L/D)``, 1/h.
    """
    useful = LB_KT_PER_HP * np.asarray(propeller_efficiency) * np.asarray(lift_to_drag)
    return np.asarray(np.asarray(power_fuel_lb_per_hp_hour) * np.asarray(speed_kt) / useful)


def cruise_fuel(landed_kg: npt.ArrayLike, hours: npt.ArrayLike, burn_per_hour: npt.ArrayLike) -> FloatArray:
    """
    Fuel of one flight for weight landed, by Breguet's law.

    Parameters
    ----------
    landed_kg : array_like
        Weight that arrives, kilograms: a brake is landed, not burned.
    hours : array_like
        Hours of cruise.
    burn_per_hour : array_like
        From `jet_burn_per_hour` or `turboprop_burn_per_hour`, 1/h.

    Returns
    -------
    array of float
        ``W (exp(t b) - 1)``, kilograms. At a constant lift-to-drag ratio this is an upper estimate: all drag is
        taken to grow with weight, while part of it does not.
    """
    return np.asarray(np.asarray(landed_kg) * np.expm1(np.asarray(hours) * np.asarray(burn_per_hour)))


def transport_fuel(landed_kg: npt.ArrayLike, transport_coefficient: npt.ArrayLike) -> FloatArray:
    """
    Fuel of one flight for weight landed, from the transport coefficient.

    Parameters
    ----------
    landed_kg : array_like
        Weight that arrives, kilograms.
    transport_coefficient : array_like
        Extra take-off weight per extra landing weight, at least 1.

    Returns
    -------
    array of float
        ``(K - 1) W``, kilograms.

    References
    ----------
    Airbus, Getting to Grips with Fuel Economy, section 4.5.
    """
    return np.asarray((np.asarray(transport_coefficient) - 1.0) * np.asarray(landed_kg))


def co2(fuel: npt.ArrayLike, co2_per_fuel: npt.ArrayLike) -> FloatArray:
    """
    CO2 from fuel burned, kilograms.

    Parameters
    ----------
    fuel : array_like
        Fuel, in the unit that the factor names (kilograms, or gallons).
    co2_per_fuel : array_like
        Kilograms of CO2 per unit of fuel: 3.16 per kilogram in one system, 9.7497 per gallon in another. They
        differ by 2 %; a study keeps to one.

    Returns
    -------
    array of float
        Kilograms of CO2.
    """
    return np.asarray(np.asarray(fuel) * np.asarray(co2_per_fuel))
