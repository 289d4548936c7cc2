"""The retrofit decision: yearly cash flows of two brake types to retirement, and the briefing."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.cashflow import Flows, flows
from lifecycle.decision import Plan, work_out
from lifecycle.drivers import Driver, draw, drivers_of, swing
from lifecycle.exposure import Runs
from lifecycle.flying import Flying
from lifecycle.observations import Records
from lifecycle.payback import (
    adjusted_rate_of_return,
    capital_recovery_factor,
    discounted_payback,
    npv,
    savings_to_investment,
)
from lifecycle.verdict import Evidence, verdict
from lifecycle.wear import FleetFit

__all__ = ["Briefing", "Driver", "Option", "YearFlow", "brief_retrofit"]

FloatArray = npt.NDArray[np.float64]

DRAWS: Final = 10_000
KEEP: Final = "keep"


@dataclass(frozen=True)
class YearFlow:
    """Cash of one year, counted from the decision (0 is now); net is current less proposed, cumulative its sum."""

    year: int
    current: float
    proposed: float
    net: float
    cumulative: float


@dataclass(frozen=True)
class Option:
    """Net present value of one way to go about it: keep, as worn, phased, all at once."""

    name: str
    npv: float


@dataclass(frozen=True)
class Briefing:
    """
    What the budget holder is told; payback is null where it never pays back.

    ``npv``, ``sir``, ``airr`` and ``by_year`` are at the values as entered, of the option named ``plan`` (the best one
    within slots and budget); P10, P50, P90 and the chance are over draws of all uncertain inputs. ``warnings`` say
    what is left out and what the comparison rests on; ``ledger_head`` is the hash of the log behind the records, to be
    compared with `pinledger verify`.
    """

    edition: str
    study: str
    currency: str
    npv: float
    npv_p10: float
    npv_p90: float
    payback_years_p10: float | None
    payback_years_p50: float | None
    payback_years_p90: float | None
    chance_by_retirement: float
    sir: float | None
    airr: float | None
    recommendation: str
    condition: str
    by_year: tuple[YearFlow, ...]
    drivers: tuple[Driver, ...]
    options: tuple[Option, ...]
    assumptions: tuple[Assumption, ...]
    plan: str = ""
    aircraft: int = 0
    warnings: tuple[str, ...] = ()
    ledger_head: str = ""


def brief_retrofit(  # noqa: PLR0913 (the chain hands over what it has)
    runs: Runs,
    fit: FleetFit,
    flying: Flying,
    records: Records,
    assumptions: AssumptionSet,
    *,
    from_type: str,
    to_type: str,
    on: dt.date,
    rng: np.random.Generator,
    study: str = "",
    edition: str = "",
    draws: int = DRAWS,
) -> Briefing:
    """
    Whether the aircraft that carry one brake type should change to another, and when it pays back.

    Parameters
    ----------
    runs, fit, flying, records, assumptions
        The chain's results.
    from_type, to_type : str
        Legacy and proposed brake type.
    on : date
        The day of the decision, year 0.
    rng : Generator
        For the draws.
    study, edition : str
        Numbers to carry along.
    draws : int
        Draws of all uncertain inputs.

    Returns
    -------
    Briefing
        See there.

    Raises
    ------
    MissingAssumptionError
        Naming every assumption that is missing, with its unit.
    NotEnoughDataError
        If no aircraft is concerned, or one of the types has no landings or no limit on record.
    BadAssumptionError
        If both types are the same, or assumptions are in more than one currency.

    Notes
    -----
    Cash flows: `lifecycle.cashflow`; draws and swings: `lifecycle.drivers`; words: `lifecycle.verdict`. The savings-to-
    investment ratio is the present value of what operating saves over that of one-off money; the adjusted rate counts
    the years to the last retirement.

    References
    ----------
    10 CFR 436.19 to 436.23; NIST Handbook 135.
    """
    asked = work_out(runs, fit, flying, records, assumptions, from_type=from_type, to_type=to_type, on=on)
    best = _best(asked.plans)
    swung = flows(asked.case, best.tables, swing(asked.inputs)).worth
    drivers = drivers_of(asked.inputs, swung)
    drawn = flows(asked.case, best.tables, draw(asked.inputs, rng, draws))
    payback = discounted_payback(drawn.rate, drawn.net)
    worth, rate, years = float(best.base.worth[0]), float(best.base.rate[0]), asked.scope.years
    chance = float(np.mean(np.isfinite(payback))) if best.tables.last >= 0 else 0.0
    evidence = Evidence(
        npv=worth,
        chance=chance,
        yearly=worth * capital_recovery_factor(rate, years),
        years=years,
        converts=best.tables.last >= 0,
        inputs=asked.inputs,
        drivers=drivers,
        ratio=drivers_of(asked.inputs[1:2], np.array([worth, *swung[3:5]]))[0],
        runs=asked.both.runs,
        types=(from_type, to_type),
        compared=asked.both.compared,
    )
    words = verdict(evidence, currency=asked.currency)
    sir = _sir(best.base)
    p10, p50, p90 = _quantiles(payback)
    low, high = np.quantile(drawn.worth, [0.1, 0.9])
    return Briefing(
        edition=edition,
        study=study,
        currency=asked.currency,
        npv=worth,
        npv_p10=float(low),
        npv_p90=float(high),
        payback_years_p10=p10,
        payback_years_p50=p50,
        payback_years_p90=p90,
        chance_by_retirement=chance,
        sir=sir,
        airr=None if sir is None else adjusted_rate_of_return(sir, rate, years),
        recommendation=words.recommendation,
        condition=words.condition,
        by_year=_by_year(best.base),
        drivers=drivers,
        options=(Option(KEEP, 0.0), *(Option(plan.name, float(plan.base.worth[0])) for plan in asked.plans)),
        assumptions=asked.used,
        plan=best.name,
        aircraft=len(asked.scope.aircraft),
        warnings=asked.warnings,
    )


def _best(plans: tuple[Plan, ...]) -> Plan:
    """Of the plans within slots and budget the one worth most, among those that convert any aircraft if any does."""
    within = [plan for plan in plans if plan.fits]
    return max(within, key=lambda plan: (plan.tables.last >= 0, float(plan.base.worth[0])))


def _sir(base: Flows) -> float | None:
    saved = float(npv(base.rate, base.current - base.operating)[0])
    return savings_to_investment(saved, float(npv(base.rate, base.one_off)[0]))


def _by_year(base: Flows) -> tuple[YearFlow, ...]:
    current, net = base.current[0], base.net[0]
    return tuple(
        YearFlow(year, float(current[year]), float(current[year] - net[year]), float(net[year]), float(total))
        for year, total in enumerate(np.cumsum(net))
    )


def _quantiles(payback: FloatArray) -> tuple[float | None, ...]:
    found = np.quantile(payback, [0.1, 0.5, 0.9], method="inverted_cdf")
    return tuple(float(years) if np.isfinite(years) else None for years in found)
