"""How each brake type is used: shares of its landings by aircraft type and base, removals, repairs, spares, mass."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from lifecycle.consumption import DAYS_PER_YEAR, REPAIR_WORK
from lifecycle.elements import Use
from lifecycle.exposure import Runs
from lifecycle.observations import Records


@dataclass(frozen=True)
class TypeFacts:
    """What holds for a brake type wherever it flies; rates are per braked landing; None where not on record."""

    mass_kg: float | None
    unscheduled: float
    repairs: float
    spare_years: float | None
    refurbished: float
    warnings: tuple[str, ...]


def facts_of(
    brake_type: str, flown: pd.DataFrame, runs: Runs, records: Records, *, currency: str
) -> TypeFacts:
    """
    Facts of one brake type from its landings, shop visits and stock counts.

    Parameters
    ----------
    brake_type : str
        The type.
    flown : DataFrame
        Its rows of `consumption`.
    runs : Runs
        For the brakes fitted today.
    records : Records
        Needs brakes, brake_types, shop_visits and stock.
    currency : str
        Shop costs in another currency are left out with a warning.

    Returns
    -------
    TypeFacts
        Repairs count recorded costs of repairs, tests and no fault found; renewals are accrued by wear instead.
    """
    landings = float(flown["landings"].sum())
    brakes = records.brakes.loc[records.brakes["brake_type"] == brake_type, "brake"]
    visits = records.shop_visits[records.shop_visits["brake"].isin(brakes)]
    repairs, warnings = _repairs(visits, currency, brake_type)
    renewals = visits["work"].isin(["overhaul", "refurbish"]).sum()
    mass = records.brake_types.set_index("brake_type")["mass_kg"].get(brake_type)
    return TypeFacts(
        mass_kg=None if mass is None or pd.isna(mass) else float(mass),
        unscheduled=float(flown["unscheduled"].sum()) / landings if landings else 0.0,
        repairs=repairs / landings if landings else 0.0,
        spare_years=_spare_years(brake_type, flown, runs, records),
        refurbished=float((visits["work"] == "refurbish").sum() / renewals) if renewals else 0.0,
        warnings=warnings,
    )


def _repairs(visits: pd.DataFrame, currency: str, brake_type: str) -> tuple[float, tuple[str, ...]]:
    repairs = visits[visits["work"].isin(list(REPAIR_WORK)) & visits["cost"].notna()]
    foreign = sorted(set(repairs["currency"]) - {currency, ""})
    warnings = (
        (f"repairs of {brake_type} in {', '.join(foreign)} are left out; enter shop costs in {currency}",)
        if foreign
        else ()
    )
    return float(repairs.loc[~repairs["currency"].isin(foreign), "cost"].sum()), warnings


def _spare_years(brake_type: str, flown: pd.DataFrame, runs: Runs, records: Records) -> float | None:
    """Spare brakes by the last count at each base, per fitted brake, over its landings a year."""
    counts = records.stock[records.stock["brake_type"] == brake_type]
    fitted = int((runs.runs["fitted"] & (runs.runs["brake_type"] == brake_type)).sum())
    if counts.empty or not fitted or not flown["days"].sum():
        return None
    last = counts.sort_values("counted_on").groupby("base").tail(1)
    spares = float(last["serviceable"].sum() + last["unserviceable"].sum())
    landings_a_year = float(flown["landings"].sum() / flown["days"].sum()) * DAYS_PER_YEAR
    return spares / fitted / landings_a_year


def uses_of(
    brake_type: str, flown: pd.DataFrame, facts: TypeFacts, hours_per_landing: Mapping[str, float]
) -> tuple[Use, ...]:
    """
    Uses of one brake type, one for each aircraft type, base and arrangement that it has flown under.

    Parameters
    ----------
    brake_type : str
        The type.
    flown : DataFrame
        Its rows of `consumption`.
    facts : TypeFacts
        From `facts_of`.
    hours_per_landing : mapping of str to float
        By aircraft type.

    Returns
    -------
    tuple of Use
        Weights sum to 1.
    """
    landings = float(flown["landings"].sum())
    keys = ["aircraft_type", "base", "by_the_hour"]
    cells = flown.groupby(keys, sort=True)[["landings", "runs_used"]].sum().reset_index()
    return tuple(
        Use(
            brake_type=brake_type,
            aircraft_type=cell["aircraft_type"],
            base=cell["base"],
            weight=cell["landings"] / landings,
            runs_used=cell["runs_used"] / cell["landings"],
            unscheduled=facts.unscheduled,
            repairs=facts.repairs,
            flight_hours=hours_per_landing.get(cell["aircraft_type"]),
            mass_kg=facts.mass_kg,
            spare_years=facts.spare_years,
            refurbished=facts.refurbished,
            by_the_hour=cell["by_the_hour"],
        )
        for cell in cells.to_dict("records")
    )
