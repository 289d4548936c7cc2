"""What is taken as given: values with unit, range, source and date, found by the narrowest scope that fits."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from lifecycle.errors import BadAssumptionError, MissingAssumptionError

# Inputs of the fuel routes beside `fuel_per_added_kg_hour`, with their units.
ROUTE_UNITS: Final = {
    "transport_coefficient": "kg/kg",
    "thrust_fuel_per_hour": "1/h",
    "lift_to_drag": "1",
    "power_fuel_per_hp_hour": "lb/hp/h",
    "cruise_speed_kt": "kt",
    "propeller_efficiency": "1",
}

# Unit of each known name; CUR stands for the three letters of a currency (ISO 4217). Rates are fractions (unit 1).
UNITS: Final = {
    "overhaul_cost": "CUR",
    "refurbish_cost": "CUR",
    "new_brake_cost": "CUR",
    "hourly_rate_per_landing": "CUR",
    "change_out_hours": "h",
    "labour_rate": "CUR/h",
    "scrap_fraction": "1",
    "shop_turnaround_days": "d",
    "lead_time_days": "d",
    "shipping_cost": "CUR",
    "holding_rate": "1",
    "delay_cost": "CUR",
    "delay_fraction": "1",
    "fuel_price_per_kg": "CUR/kg",
    "fuel_escalation": "1",
    "fuel_per_added_kg_hour": "kg/kg/h",
    "co2_per_kg_fuel": "kg/kg",
    "co2_price_per_kg": "CUR/kg",
    "discount_rate": "1",
    "horizon_years": "year",
    "kit_cost": "CUR",
    "kit_hours": "h",
    "downtime_cost": "CUR",
    "engineering_cost": "CUR",
    "tooling_cost": "CUR",
    "training_cost": "CUR",
    "initial_spares": "1",
    "disposal_cost": "CUR",
    "slots_per_month": "1/month",
    "budget_per_year": "CUR/year",
    "landings_growth": "1",
    "chance_past_limit_unread": "1",
    **ROUTE_UNITS,
}


@dataclass(frozen=True)
class Assumption:
    """One dated, sourced value; ``low`` and ``high`` are its P10 and P90, None where no range was given."""

    name: str
    value: float
    unit: str
    source: str
    dated: dt.date
    aircraft_type: str = ""
    brake_type: str = ""
    base: str = ""
    low: float | None = None
    high: float | None = None
    record: int = 0


@dataclass(frozen=True)
class AssumptionSet:
    """The assumptions of one study, approved and known by its day."""

    items: tuple[Assumption, ...]

    def find(
        self, name: str, *, aircraft_type: str = "", brake_type: str = "", base: str = ""
    ) -> Assumption | None:
        """
        The assumption that fits this scope best, or None.

        Parameters
        ----------
        name : str
            A key of `UNITS`, or a name of the user's own.
        aircraft_type, brake_type, base : str
            The scope asked for; an assumption fits if each scope it names is the one asked for.

        Returns
        -------
        Assumption or None
            Of those that fit, the one naming most scopes (brake type before aircraft type before base where
            equal), then the latest dated, then the latest recorded.
        """
        asked = {"aircraft_type": aircraft_type, "brake_type": brake_type, "base": base}
        fitting = [
            item
            for item in self.items
            if item.name == name and all(getattr(item, key) in ("", asked[key]) for key in asked)
        ]
        return max(fitting, key=_narrowness, default=None)

    def get(self, name: str, *, aircraft_type: str = "", brake_type: str = "", base: str = "") -> Assumption:
        """
        Like `find`, but missing is an error that says what to enter.

        Raises
        ------
        MissingAssumptionError
            If no assumption of that name fits the scope.
        """
        found = self.find(name, aircraft_type=aircraft_type, brake_type=brake_type, base=base)
        if found is None:
            scope = ", ".join(part for part in (aircraft_type, brake_type, base) if part) or "the whole fleet"
            unit = UNITS.get(name, "its unit")
            raise MissingAssumptionError(
                f"no assumption {name!r} for {scope}; enter one with unit {unit}, a source and a date"
            )
        return found


def _narrowness(item: Assumption) -> tuple[int, int, dt.date, int]:
    scopes = (item.brake_type, item.aircraft_type, item.base)
    named = sum(bool(scope) for scope in scopes)
    rank = 4 * bool(item.brake_type) + 2 * bool(item.aircraft_type) + bool(item.base)
    return named, rank, item.dated, item.record


def currency_of(items: Iterable[Assumption]) -> str:
    """
    The one currency of a set of assumptions.

    Parameters
    ----------
    items : iterable of Assumption
        Money has a unit that begins with three capital letters.

    Returns
    -------
    str
        ISO 4217 code, or "" where no assumption is in money.

    Raises
    ------
    BadAssumptionError
        If more than one currency occurs: a study has one; convert by a dated exchange rate first.
    """
    found = sorted({item.unit[:3] for item in items if item.unit[:3].isupper() and item.unit[:3].isalpha()})
    if len(found) > 1:
        raise BadAssumptionError(f"assumptions in {', '.join(found)}; one currency a study is wanted")
    return found[0] if found else ""
