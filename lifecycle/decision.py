"""A retrofit worked out at the values as entered: the fleet concerned, ways to go about it, uncertain inputs."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.assumptions import Assumption, AssumptionSet, currency_of
from lifecycle.cashflow import Case, Flows, Sample, conversion_cost, flows
from lifecycle.drivers import LANDINGS, Z80, Input, ranged
from lifecycle.errors import BadAssumptionError, MissingAssumptionError, NotEnoughDataError
from lifecycle.exposure import Runs
from lifecycle.fleetplan import YearTables, all_at_once, as_worn, phased, tabulate, within_limits
from lifecycle.fleetscope import MONTHS, Scope, candidates, scope_of
from lifecycle.flying import Flying
from lifecycle.observations import Records
from lifecycle.pricing import price
from lifecycle.retrofitcase import Comparison, compare
from lifecycle.terms import Terms, in_currency, terms_of
from lifecycle.wear import FleetFit

AS_WORN, PHASED, AT_ONCE = "as worn", "phased", "all at once"
# What stands where nobody entered an assumption that a brief can do without.
MEANINGS: Final = {
    "fuel_escalation": "fuel keeps its real price",
    "landings_growth": "flying goes on as it is",
    "slots_per_month": "any number of aircraft can be converted in a month",
    "budget_per_year": "conversions are not limited by a budget",
}


@dataclass(frozen=True)
class Plan:
    """One way to go about it: year tables, cash at the values as entered, whether slots and budget allow it."""

    name: str
    tables: YearTables
    base: Flows
    fits: bool


@dataclass(frozen=True)
class Decision:
    """All that a brief needs before the draws; the first two inputs are those of wear."""

    case: Case
    both: Comparison
    scope: Scope
    plans: tuple[Plan, ...]
    inputs: tuple[Input, ...]
    used: tuple[Assumption, ...]
    currency: str
    warnings: tuple[str, ...]


def work_out(  # noqa: PLR0913 (the chain hands over what it has)
    runs: Runs,
    fit: FleetFit,
    flying: Flying,
    records: Records,
    assumptions: AssumptionSet,
    *,
    from_type: str,
    to_type: str,
    on: dt.date,
) -> Decision:
    """
    Work a retrofit out at the values as entered.

    Parameters
    ----------
    runs, fit, flying, records, assumptions
        The chain's results.
    from_type, to_type : str
        Legacy and proposed brake type.
    on : date
        The day of the decision, year 0.

    Returns
    -------
    Decision
        With the plans as worn, phased and all at once.

    Raises
    ------
    MissingAssumptionError, NotEnoughDataError, BadAssumptionError
        As in `retrofit.brief_retrofit`.
    """
    if from_type == to_type:
        raise BadAssumptionError(
            f"a retrofit from {from_type} to itself; two different brake types are wanted"
        )
    craft = candidates(runs, records, from_type=from_type, to_type=to_type, on=on)
    _refuse_unshared(runs, records, from_type, to_type)
    places = zip(craft["aircraft_type"], craft["base"], strict=True)
    open_ended = bool(craft["retires_on"].isna().any())
    terms = terms_of(assumptions, places, from_type=from_type, to_type=to_type, open_ended=open_ended)
    both = compare(
        runs,
        fit,
        records,
        assumptions,
        aircraft=craft["aircraft"],
        from_type=from_type,
        to_type=to_type,
        on=on,
    )
    priced = (price(both.legacy, assumptions, {}), price(both.proposed, assumptions, {}))
    currency = currency_of(assumptions.items)
    _refuse_missing([*(in_currency(text, currency) for one in priced for text in one.lacks), *terms.missing])
    scope = scope_of(
        craft,
        runs,
        fit,
        flying,
        from_type=from_type,
        on=on,
        horizon_years=_value(terms, "horizon_years"),
        landings_growth=_value(terms, "landings_growth") or 0.0,
    )
    case = Case(both.legacy, both.proposed, both.life, assumptions, terms)
    used = tuple(dict.fromkeys([*priced[0].used, *priced[1].used, *terms.items()]))
    return Decision(
        case=case,
        both=both,
        scope=scope,
        plans=_plans(scope, case),
        inputs=(*both.measured, _landings_input(scope, flying), *ranged(used)),
        used=used,
        currency=currency,
        warnings=(
            *both.warnings,
            *(in_currency(text, currency) for one in priced for text in one.left_out),
            *_told(scope, terms, to_type),
        ),
    )


def unshared(runs: Runs, one: str, other: str) -> str:
    """
    Say that two brake types have flown on no aircraft type in common.

    Parameters
    ----------
    runs : Runs
        Heat sink runs.
    one, other : str
        Brake types.

    Returns
    -------
    str
        Which type flew on which aircraft types; "" where they share one, or either has not flown.
    """
    flown = {kind: _aircraft_types(runs, kind) for kind in (one, other)}
    if not all(flown.values()) or set(flown[one]) & set(flown[other]):
        return ""
    where = ", ".join(f"{kind} has flown on {' and '.join(on)}" for kind, on in flown.items())
    return f"{other} and {one} share no aircraft type: {where}"


def _aircraft_types(runs: Runs, brake_type: str) -> list[str]:
    own = runs.runs.index[runs.runs["brake_type"] == brake_type]
    return sorted(set(runs.spans.loc[runs.spans["run"].isin(own), "aircraft_type"].astype(str)))


def _refuse_unshared(runs: Runs, records: Records, from_type: str, to_type: str) -> None:
    """A type that effectivity lets the other's aircraft carry may be weighed before it has flown there."""
    listed = records.effectivity.loc[records.effectivity["brake_type"] == to_type, "aircraft_type"]
    told = unshared(runs, from_type, to_type)
    if told and not listed.isin(_aircraft_types(runs, from_type)).any():
        raise NotEnoughDataError(
            f"{told}; a brief wants two types for the same aircraft: ask for such a pair, or enter effectivity of "
            f"{to_type}"
        )


def _value(terms: Terms, name: str) -> float | None:
    return terms.once[name].value if name in terms.once else None


def _refuse_missing(missing: list[str]) -> None:
    if missing:
        listed = "; ".join(dict.fromkeys(missing))
        raise MissingAssumptionError(
            f"a brief lacks: {listed}. Enter each under Assumptions (file `assumptions`) with a source and a date; "
            "enter 0 where there is no such cost"
        )


def _plans(scope: Scope, case: Case) -> tuple[Plan, ...]:
    once = Sample()
    dearest = max(float(conversion_cost(found, once)[0, 0]) for found in case.terms.per_place.values())
    budget = _value(case.terms, "budget_per_year")
    slots = _value(case.terms, "slots_per_month")
    most = None if budget is None or dearest <= 0 else int(budget // dearest)
    plans = []
    for name, month in (
        (AS_WORN, as_worn(scope)),
        (PHASED, phased(scope, slots_per_month=slots, most_a_year=most)),
        (AT_ONCE, all_at_once(scope)),
    ):
        tables = tabulate(scope, month, life=case.life)
        fits = within_limits(month, slots_per_month=slots, most_a_year=most)
        plans.append(Plan(name, tables, flows(case, tables, once), fits))
    return tuple(plans)


def _landings_input(scope: Scope, flying: Flying) -> Input:
    """Landings of the first year; how far past forecasts were off is taken as common to all aircraft."""
    first = float(scope.cumulative[:, MONTHS].sum())
    off = float(np.exp(Z80 * flying.cv_u))
    return Input("landings in the first year", first, first / off, first * off, part=LANDINGS)


def _told(scope: Scope, terms: Terms, to_type: str) -> list[str]:
    """What a reader should know of the fleet and of the assumptions nobody has to enter."""
    told = []
    if scope.not_listed:
        told.append(
            f"effectivity does not list {to_type} yet for {scope.not_listed} of {len(scope.aircraft)} aircraft"
        )
    if scope.already:
        told.append(
            f"{scope.already} aircraft carry {to_type} already: what was paid for engineering, tooling and training is "
            "sunk, enter only what is still to be paid"
        )
    for name, meaning in MEANINGS.items():
        if name not in terms.once:
            told.append(f"no {name} entered: {meaning}")
    brake = terms.once["new_brake_cost"].value
    fewest = float(scope.brakes[scope.brakes > 0].min(initial=np.inf))
    for found in terms.per_place.values():
        if found["kit_cost"].value < brake * min(fewest, 1e6):
            told.append(
                f"kit_cost {found['kit_cost'].value:,.0f} is less than the brakes of one aircraft at new_brake_cost "
                f"{brake:,.0f}: a kit is taken to hold the new brakes"
            )
            break
    return told
