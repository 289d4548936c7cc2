"""Assumptions that a retrofit rests on besides the cost per landing: one-off costs, discounting, slots, budget."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from lifecycle.assumptions import UNITS, Assumption, AssumptionSet, currency_of

Place = tuple[str, str]

# Paid for each aircraft (a kit holds its new brakes), for each legacy brake taken off, and once.
PER_AIRCRAFT: Final = ("kit_cost", "kit_hours", "labour_rate", "downtime_cost")
PER_BRAKE: Final = ("disposal_cost",)
ONCE: Final = ("engineering_cost", "tooling_cost", "training_cost", "initial_spares", "new_brake_cost")
RATES: Final = ("discount_rate",)
# Nobody has to enter these: no growth, constant real fuel price, no limit of slots or budget.
# Needed where an aircraft has no retirement day.
OPEN_ENDED: Final = ("horizon_years",)
OPTIONAL: Final = ("fuel_escalation", "landings_growth", "slots_per_month", "budget_per_year")


@dataclass(frozen=True)
class Terms:
    """
    Assumptions found for one retrofit.

    ``per_place`` by (aircraft_type, base) and name, ``once`` by name; ``missing`` says what has to be entered.
    """

    per_place: Mapping[Place, Mapping[str, Assumption]]
    once: Mapping[str, Assumption]
    missing: tuple[str, ...]

    def items(self) -> Iterator[Assumption]:
        """Every assumption once."""
        every = [*self.once.values(), *(item for names in self.per_place.values() for item in names.values())]
        return iter(dict.fromkeys(every))


def terms_of(
    assumptions: AssumptionSet, places: Iterable[Place], *, from_type: str, to_type: str, open_ended: bool
) -> Terms:
    """
    Find what a retrofit rests on.

    Parameters
    ----------
    assumptions : AssumptionSet
        Looked up by the scope of each.
    places : iterable of (aircraft_type, base)
        Where aircraft would be converted.
    from_type, to_type : str
        Legacy brake type (for its disposal) and proposed one (for all else).
    open_ended : bool
        Some aircraft has no retirement day, so that a horizon is needed.

    Returns
    -------
    Terms
        With all that is missing named at once, each with its unit and scope.
    """
    currency = currency_of(assumptions.items)
    missing: dict[str, None] = {}

    def look(name: str, brake_type: str, place: Place) -> dict[str, Assumption]:
        found = assumptions.find(name, aircraft_type=place[0], brake_type=brake_type, base=place[1])
        if found is None and name not in OPTIONAL:
            where = " ".join(part for part in (brake_type, f"on {place[0]}" if place[0] else "") if part)
            missing[in_currency(f"{name} (unit {UNITS[name]}) for {where}", currency)] = None
        return {} if found is None else {name: found}

    every = sorted(set(places))
    per_place = {}
    for place in every:
        own: dict[str, Assumption] = {}
        for name in PER_AIRCRAFT:
            own |= look(name, to_type, place)
        for name in PER_BRAKE:
            own |= look(name, from_type, place)
        per_place[place] = own
    kinds = {place[0] for place in every}
    anywhere = (kinds.pop() if len(kinds) == 1 else "", "")
    once: dict[str, Assumption] = {}
    for name in (*ONCE, *RATES, *(OPEN_ENDED if open_ended else ()), *OPTIONAL):
        once |= look(name, to_type, anywhere)
    return Terms(per_place, once, tuple(missing))


def in_currency(text: str, currency: str) -> str:
    """
    A text that asks for assumptions, its units in the currency of the study.

    Parameters
    ----------
    text : str
        With units as in `UNITS`.
    currency : str
        ISO 4217 code, or "" where none is known: then ``CUR`` stays.

    Returns
    -------
    str
        "kit_cost (unit EUR)" for "kit_cost (unit CUR)".
    """
    return text.replace("(unit CUR", f"(unit {currency}") if currency else text
