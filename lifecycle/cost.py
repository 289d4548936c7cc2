"""Cost per braked landing of each brake type, accrued by the wear consumed, element by element."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.assumptions import AssumptionSet, currency_of
from lifecycle.consumption import consumption, flight_hours_per_landing
from lifecycle.elements import Use
from lifecycle.errors import MissingAssumptionError
from lifecycle.exposure import Runs
from lifecycle.likeforlike import like_for_like
from lifecycle.observations import Records
from lifecycle.pricing import Priced, price, swings
from lifecycle.ratio import ratio_of_sums
from lifecycle.terms import in_currency
from lifecycle.uses import facts_of, uses_of
from lifecycle.wear import FleetFit, TypeFit

# What the wear of one landing may depend on besides the brake type.
FACTORS: Final = ("aircraft_type", "base", "weight_variant", "position_group")


@dataclass(frozen=True)
class FuelRoute:
    """Fuel for carrying one brake for one landing, by one way of working it out; one of them is chosen."""

    name: str
    fuel_kg: float
    chosen: bool


@dataclass(frozen=True)
class TypeCost:
    """
    Cost per brake and braked landing of one type; the interval is 80 %; elements sum to the cost.

    ``wear_ratio`` is millimetres worn per landing over the reference type's on the same landings;
    ``like_for_like_ratio`` is that times the ratio of overhaul cost per usable millimetre: what renewing the heat
    sinks costs per landing, against the reference type, were every landing flown on both. Its interval is that of
    the wear; prices are held.
    """

    brake_type: str
    landings: float
    cost_per_landing: float
    low: float
    high: float
    elements: Mapping[str, float]
    like_for_like_ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    warnings: tuple[str, ...] = ()
    wear_ratio: float | None = None
    fuel_routes: tuple[FuelRoute, ...] = ()


@dataclass(frozen=True)
class CostPerLanding:
    """All types in one currency, most landings first; types without a cost are named in the warnings."""

    currency: str
    reference_type: str
    types: tuple[TypeCost, ...]
    warnings: tuple[str, ...] = ()


def cost_per_landing(
    runs: Runs, fit: FleetFit, records: Records, assumptions: AssumptionSet, *, on: dt.date
) -> CostPerLanding:
    """
    Cost per brake and braked landing of every brake type that has flown.

    Parameters
    ----------
    runs : Runs
        Runs through ``on``.
    fit : FleetFit
        Their wear rates.
    records : Records
        For aircraft, landings, shop visits, stock.
    assumptions : AssumptionSet
        Prices and rates; overhaul_cost (or hourly_rate_per_landing under a by-the-hour arrangement) is what no
        cost can do without, every other element is left out with a warning where its inputs are missing.
    on : date
        The day of the study.

    Returns
    -------
    CostPerLanding
        The reference type is the one with most landings.

    Raises
    ------
    MissingAssumptionError
        If no type can be given a cost, naming all that is missing.
    BadAssumptionError
        If assumptions are in more than one currency.

    Notes
    -----
    Wear-driven elements cost their price times runs used per landing, ``sum(rate x landings / usable pin) / sum
    (landings)``. The interval adds in quadrature, down and up apart, what the cost moves by when the wear rate runs
    over its 80 % interval and when each assumption runs over its P10 to P90. The wear interval is the wider of the
    fit's for the mean rate of the type and Fieller's for runs used over landings between aircraft.
    """
    currency = currency_of(assumptions.items)
    flown = consumption(runs, fit, records, on=on)
    hours = flight_hours_per_landing(records)
    fits = {one.brake_type: one for one in fit.types}
    landings = flown.groupby("brake_type")["landings"].sum().sort_values(ascending=False, kind="stable")
    costs: list[TypeCost] = []
    lacks: list[str] = []
    for brake_type in map(str, landings.index):
        own = flown[flown["brake_type"] == brake_type]
        if own["usable_mm"].isna().all():
            lacks.append(f"no cost for {brake_type}: enter its wear limit and new_pin_mm")
            continue
        facts = facts_of(brake_type, own, runs, records, currency=currency)
        uses = uses_of(brake_type, own, facts, hours)
        priced = price(uses, assumptions, {})
        if priced.lacks:
            lacks.extend(in_currency(text, currency) for text in priced.lacks)
            continue
        told = (*facts.warnings, *(in_currency(text, currency) for text in priced.left_out))
        cost = _type_cost(own, uses, priced, assumptions, fits.get(brake_type))
        costs.append(replace(cost, warnings=told))
    if not costs:
        raise MissingAssumptionError(
            "; ".join(lacks) or "no braked landings on record; import landings first"
        )
    return CostPerLanding(currency, costs[0].brake_type, _compared(costs, flown), tuple(lacks))


def _type_cost(
    own: pd.DataFrame,
    uses: Sequence[Use],
    priced: Priced,
    assumptions: AssumptionSet,
    fit: TypeFit | None,
) -> TypeCost:
    total = float(priced.total)
    low, high = _interval(uses, priced, assumptions, wear_range(own, fit))
    chosen = next(iter(priced.fuel_kg), "")
    return TypeCost(
        brake_type=uses[0].brake_type,
        landings=float(own["landings"].sum()),
        cost_per_landing=total,
        low=low,
        high=high,
        elements={name: float(value) for name, value in priced.elements.items()},
        like_for_like_ratio=None,
        ratio_low=None,
        ratio_high=None,
        fuel_routes=tuple(FuelRoute(name, float(kg), name == chosen) for name, kg in priced.fuel_kg.items()),
    )


def wear_range(own: pd.DataFrame, fit: TypeFit | None) -> tuple[float, float]:
    """
    Factors by which the wear of a type may lie below and above what was reckoned.

    Parameters
    ----------
    own : DataFrame
        Rows of `consumption` of the type.
    fit : TypeFit or None
        Its fit.

    Returns
    -------
    tuple of float
        Low, at most 1, and high, at least 1: the wider, end by end, of the fit's 80 % interval for the mean rate and
        Fieller's interval for runs used over landings between aircraft.
    """
    by_aircraft = own.groupby("aircraft")[["runs_used", "landings"]].sum()
    between = ratio_of_sums(by_aircraft["runs_used"], by_aircraft["landings"])
    lows, highs = [1.0], [1.0]
    if between.fieller_low is not None and between.fieller_high is not None and between.ratio > 0:
        lows.append(between.fieller_low / between.ratio)
        highs.append(between.fieller_high / between.ratio)
    if fit is not None and fit.rate_mm_per_landing > 0:
        lows.append(fit.rate_low / fit.rate_mm_per_landing)
        highs.append(fit.rate_high / fit.rate_mm_per_landing)
    return max(min(lows), 0.0), max(highs)


def _interval(
    uses: Sequence[Use], priced: Priced, assumptions: AssumptionSet, wear: tuple[float, float]
) -> tuple[float, float]:
    total = float(priced.total)
    moved = swings(priced.used)
    by_price = np.broadcast_to(price(uses, assumptions, moved.settings).total, 1 + 2 * len(moved.items))
    by_wear = np.broadcast_to(price(uses, assumptions, {}, runs_factor=np.array(wear)).total, 2)
    swung = np.concatenate([by_price[1:], by_wear]).reshape(-1, 2) - total
    down, up = np.minimum(swung.min(axis=1), 0.0), np.maximum(swung.max(axis=1), 0.0)
    return total - float(np.sqrt(np.sum(down**2))), total + float(np.sqrt(np.sum(up**2)))


def _compared(costs: Sequence[TypeCost], flown: pd.DataFrame) -> tuple[TypeCost, ...]:
    """The same costs with their like-for-like ratios against the first type."""
    reference = costs[0]
    one = replace(reference, like_for_like_ratio=1.0, ratio_low=1.0, ratio_high=1.0, wear_ratio=1.0)
    return (one, *(_against(reference, other, flown) for other in costs[1:]))


def _against(reference: TypeCost, other: TypeCost, flown: pd.DataFrame) -> TypeCost:
    wear = like_for_like(
        flown, reference=reference.brake_type, other=other.brake_type, factors=FACTORS, interactions=True
    )
    warned = replace(other, warnings=(*other.warnings, *wear.warnings), wear_ratio=wear.ratio)
    ours, theirs = (_renewal_per_mm(cost, flown) for cost in (other, reference))
    if wear.ratio is None:
        return warned
    if ours is None or theirs is None:
        told = "no like-for-like cost under a by-the-hour arrangement: the rate does not follow wear"
        return replace(warned, warnings=(*warned.warnings, told))
    factor = ours / theirs
    return replace(
        warned,
        like_for_like_ratio=wear.ratio * factor,
        ratio_low=None if wear.low is None else wear.low * factor,
        ratio_high=None if wear.high is None else wear.high * factor,
    )


def _renewal_per_mm(cost: TypeCost, flown: pd.DataFrame) -> float | None:
    """Overhaul cost for each millimetre worn where the operator pays for it."""
    own = flown[(flown["brake_type"] == cost.brake_type) & ~flown["by_the_hour"]]
    worn_mm = float(own["wear_mm"].sum())
    return cost.elements["overhaul"] * cost.landings / worn_mm if worn_mm > 0 else None
