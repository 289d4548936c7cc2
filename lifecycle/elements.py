"""The elements of the cost of one braked landing: what each needs to be known, and its formula."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle import fuel
from lifecycle.assumptions import UNITS
from lifecycle.consumption import BY_THE_HOUR, DAYS_PER_YEAR

FloatArray = npt.NDArray[np.float64]
Number = float | FloatArray
Values = Mapping[str, Number]


@dataclass(frozen=True)
class Use:
    """
    How one brake type is used on one aircraft type at one base, per braked landing.

    ``weight`` is its share of the landings; ``runs_used`` heat sink runs worn off; ``unscheduled`` removals that
    nobody planned; ``repairs`` money of recorded repairs and tests; ``spare_years`` brake-years of spares held;
    None where the records do not say. ``refurbished`` is the share of runs renewed by refurbishment.
    """

    brake_type: str
    aircraft_type: str
    base: str
    weight: float
    runs_used: Number
    unscheduled: float
    repairs: float
    flight_hours: float | None
    mass_kg: float | None
    spare_years: Number | None
    refurbished: float
    by_the_hour: bool


@dataclass(frozen=True)
class Element:
    """One element: assumptions and records it needs, whether an hourly contract covers it, cost per landing."""

    name: str
    needs: tuple[str, ...]
    records: tuple[str, ...]
    contract_covers: bool
    cost: Callable[[Use, Values], Number]


def renewal_cost(use: Use, values: Values) -> Number:
    """Cost of renewing one heat sink: overhauls and refurbishments in the shares that the shop visits show."""
    overhaul = values["overhaul_cost"]
    return overhaul + use.refurbished * (values.get("refurbish_cost", overhaul) - overhaul)


def _procurement(use: Use, values: Values) -> Number:
    # A scrapped brake is replaced instead of overhauled, so what it adds is the price beyond the overhaul accrued.
    extra = values["new_brake_cost"] - renewal_cost(use, values)
    return values["scrap_fraction"] * extra * use.runs_used


def _change_out(values: Values) -> Number:
    return values["change_out_hours"] * values["labour_rate"]


def fuel_routes(use: Use, values: Values) -> dict[str, Number]:
    """
    Fuel for carrying one brake for one landing, by every route whose inputs are known, the chosen one first.

    Parameters
    ----------
    use : Use
        Needs ``mass_kg``, and ``flight_hours`` except for the transport coefficient.
    values : mapping of str to float or array
        Assumptions by name.

    Returns
    -------
    dict of str to float or array
        Kilograms of fuel by route. Chosen is the first that can be worked out of: fuel per added kg and hour,
        transport coefficient, Breguet jet, Breguet turboprop.
    """
    if use.mass_kg is None:
        return {}
    routes: dict[str, Number] = {}
    hours = use.flight_hours
    if hours is not None and "fuel_per_added_kg_hour" in values:
        routes["added fuel"] = fuel.added_fuel(use.mass_kg, hours, values["fuel_per_added_kg_hour"])
    if "transport_coefficient" in values:
        routes["transport coefficient"] = fuel.transport_fuel(use.mass_kg, values["transport_coefficient"])
    if hours is not None and {"thrust_fuel_per_hour", "lift_to_drag"} <= values.keys():
        burn = fuel.jet_burn_per_hour(values["thrust_fuel_per_hour"], values["lift_to_drag"])
        routes["Breguet jet"] = fuel.cruise_fuel(use.mass_kg, hours, burn)
    turboprop = ("power_fuel_per_hp_hour", "cruise_speed_kt", "propeller_efficiency", "lift_to_drag")
    if hours is not None and all(name in values for name in turboprop):
        burn = fuel.turboprop_burn_per_hour(*(values[name] for name in turboprop))
        routes["Breguet turboprop"] = fuel.cruise_fuel(use.mass_kg, hours, burn)
    return routes


def _delay(use: Use, values: Values) -> Number:
    return values["delay_fraction"] * values["delay_cost"] * use.unscheduled


def _shipping(use: Use, values: Values) -> Number:
    return values["shipping_cost"] * (use.runs_used + use.unscheduled)


def _holding(use: Use, values: Values) -> Number:
    # Without a stock count, the spares that cover the brakes in the shop.
    spare_years = use.spare_years
    if spare_years is None:
        removals = use.runs_used + use.unscheduled
        spare_years = removals * values["shop_turnaround_days"] / DAYS_PER_YEAR
    return values["holding_rate"] * values["new_brake_cost"] * spare_years


def _fuel_kg(use: Use, values: Values) -> Number:
    return next(iter(fuel_routes(use, values).values()))


def _fuel(use: Use, values: Values) -> Number:
    return values["fuel_price_per_kg"] * _fuel_kg(use, values)


def _co2(use: Use, values: Values) -> Number:
    return values["co2_price_per_kg"] * fuel.co2(_fuel_kg(use, values), values["co2_per_kg_fuel"])


def _cost(
    name: str, needs: str, cost: Callable[[Use, Values], Number], *, contract: bool = False, records: str = ""
) -> Element:
    return Element(name, tuple(needs.split()), tuple(records.split()), contract, cost)


ELEMENTS: Final = (
    _cost("overhaul", "overhaul_cost", lambda u, v: renewal_cost(u, v) * u.runs_used, contract=True),
    _cost(BY_THE_HOUR, "hourly_rate_per_landing", lambda _, v: v["hourly_rate_per_landing"]),
    _cost("procurement", "scrap_fraction new_brake_cost overhaul_cost", _procurement, contract=True),
    _cost("change-out labour", "change_out_hours labour_rate", lambda u, v: _change_out(v) * u.runs_used),
    _cost(
        "unscheduled removals", "change_out_hours labour_rate", lambda u, v: _change_out(v) * u.unscheduled
    ),
    _cost("repairs", "", lambda u, _: u.repairs, contract=True),
    _cost("delay", "delay_fraction delay_cost", _delay),
    _cost("shipping", "shipping_cost", _shipping, contract=True),
    _cost("spares holding", "holding_rate new_brake_cost", _holding, contract=True, records="spare_years"),
    _cost("fuel", "fuel_price_per_kg", _fuel, records="mass_kg fuel_route"),
    _cost("CO2", "co2_price_per_kg co2_per_kg_fuel", _co2, records="mass_kg fuel_route"),
)


def applies(element: Element, use: Use, values: Values) -> bool:
    """
    Whether an element is the operator's cost here.

    Under a by-the-hour arrangement the rate stands for what the contract covers: one or the other, never both. CO2
    counts where somebody put a price on it.
    """
    if element.name == "CO2":
        return "co2_price_per_kg" in values
    if use.by_the_hour:
        return not element.contract_covers
    return element.name != BY_THE_HOUR


def missing(element: Element, use: Use, values: Values) -> tuple[str, ...]:
    """
    What somebody has to enter before an element can be worked out here.

    Returns
    -------
    tuple of str
        Assumptions with their units and records with their file; empty if nothing is missing.
    """
    found = [f"{name} (unit {UNITS[name]})" for name in element.needs if name not in values]
    untold = use.spare_years is None and "shop_turnaround_days" not in values
    if "spare_years" in element.records and untold:
        found.append("a stock count, or shop_turnaround_days (unit d)")
    if "mass_kg" in element.records and use.mass_kg is None:
        found.append(f"mass_kg of brake type {use.brake_type}")
    elif "fuel_route" in element.records and not fuel_routes(use, values):
        hours = (
            "" if use.flight_hours is not None else f", and flight_hours of landings of {use.aircraft_type}"
        )
        found.append(f"fuel_per_added_kg_hour (unit {UNITS['fuel_per_added_kg_hour']}){hours}")
    return tuple(found)
