"""Elements of cost put together from uses and assumptions, at one value of each or at many at once."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.assumptions import ROUTE_UNITS, Assumption, AssumptionSet
from lifecycle.elements import ELEMENTS, Number, Use, applies, fuel_routes, missing

FloatArray = npt.NDArray[np.float64]
Settings = Mapping[Assumption, Number]

FUEL_INPUTS: Final = ("fuel_per_added_kg_hour", *ROUTE_UNITS)
# Assumptions that an element takes where they are known, beside those that it needs.
EXTRAS: Final[Mapping[str, tuple[str, ...]]] = {
    "overhaul": ("refurbish_cost",),
    "procurement": ("refurbish_cost",),
    "spares holding": ("shop_turnaround_days",),
    "fuel": FUEL_INPUTS,
    "CO2": FUEL_INPUTS,
}
ASKED: Final = tuple(
    dict.fromkeys(name for element in ELEMENTS for name in (*element.needs, *EXTRAS.get(element.name, ())))
)
ESSENTIAL: Final = (ELEMENTS[0].name, ELEMENTS[1].name)


@dataclass(frozen=True)
class Priced:
    """
    Cost of one brake and braked landing.

    ``elements`` by name; ``fuel_kg`` by route; ``used`` the assumptions behind them; ``left_out`` what could not
    be worked out and what to enter; ``lacks`` the same for what no cost can do without.
    """

    elements: dict[str, Number]
    fuel_kg: dict[str, Number]
    used: tuple[Assumption, ...]
    left_out: tuple[str, ...]
    lacks: tuple[str, ...]

    @property
    def total(self) -> Number:
        """Sum of the elements."""
        return sum(self.elements.values(), 0.0)


def found_for(assumptions: AssumptionSet, use: Use) -> dict[str, Assumption]:
    """
    Assumptions that hold for one use, by name.

    Where only a refurbishment has a price, it stands for the overhaul too.
    """
    scope = {"aircraft_type": use.aircraft_type, "brake_type": use.brake_type, "base": use.base}
    found = {name: assumptions.find(name, **scope) for name in ASKED}
    known = {name: item for name, item in found.items() if item is not None}
    if "overhaul_cost" not in known and "refurbish_cost" in known:
        known["overhaul_cost"] = known["refurbish_cost"]
    return known


def price(
    uses: Sequence[Use], assumptions: AssumptionSet, settings: Settings, *, runs_factor: Number = 1.0
) -> Priced:
    """
    Price one braked landing over the uses of a brake type.

    Parameters
    ----------
    uses : sequence of Use
        Weights sum to 1.
    assumptions : AssumptionSet
        Looked up by the scope of each use.
    settings : mapping of Assumption to float or array of shape (n,)
        Values that stand in for an assumption's own; the rest keep theirs.
    runs_factor : float or array of shape (n,)
        Multiplies the wear of every use.

    Returns
    -------
    Priced
        Elements as floats, or arrays of shape (n,) where settings or factor are.

    Notes
    -----
    The elements of each use are weighted by its landings, so that an assumption for one base acts there only.
    """
    elements: dict[str, Number] = {ESSENTIAL[0]: 0.0}
    fuel_kg: dict[str, Number] = {}
    used: dict[Assumption, None] = {}
    left_out: dict[str, None] = {}
    lacks: dict[str, None] = {}
    for use in uses:
        known = found_for(assumptions, use)
        values = {name: settings.get(item, item.value) for name, item in known.items()}
        scaled = replace(use, runs_used=use.runs_used * runs_factor)
        for element in (element for element in ELEMENTS if applies(element, use, values)):
            wanted = missing(element, use, values)
            if wanted:
                told = lacks if element.name in ESSENTIAL else left_out
                told[_told(element.name, use, wanted)] = None
                continue
            part = use.weight * element.cost(scaled, values)
            elements[element.name] = elements.get(element.name, 0.0) + part
            behind = (*element.needs, *EXTRAS.get(element.name, ()))
            used.update(dict.fromkeys(known[name] for name in behind if name in known))
        for route, kg in fuel_routes(use, values).items():
            fuel_kg[route] = fuel_kg.get(route, 0.0) + use.weight * kg
    return Priced(elements, fuel_kg, tuple(used), tuple(left_out), tuple(lacks))


def _told(name: str, use: Use, wanted: Iterable[str]) -> str:
    return f"{name} left out for {use.brake_type} on {use.aircraft_type}: enter {' and '.join(wanted)}"


@dataclass(frozen=True)
class Swings:
    """Settings that run each ranged assumption over its P10 and P90, one at a time; column 0 has none moved."""

    items: tuple[Assumption, ...]
    settings: dict[Assumption, FloatArray]


def swings(used: Iterable[Assumption]) -> Swings:
    """
    One column for the values as they are, then two for each assumption with a range: at low and at high.

    Parameters
    ----------
    used : iterable of Assumption
        Those without a range stay out.

    Returns
    -------
    Swings
        Arrays of shape (1 + 2 n_items,).
    """
    items = tuple(item for item in used if item.low is not None and item.high is not None)
    settings = {}
    for place, item in enumerate(items):
        values = np.full(1 + 2 * len(items), item.value)
        values[1 + 2 * place : 3 + 2 * place] = item.low, item.high
        settings[item] = values
    return Swings(items, settings)
