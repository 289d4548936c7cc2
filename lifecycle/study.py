"""The whole chain: records as known on a day, and an assumption set, to runs, fit, flying, and every result."""

import datetime as dt
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from lifecycle.assumptions import AssumptionSet
from lifecycle.causes import fit_causes
from lifecycle.claims import Claim, check_claim
from lifecycle.cost import CostPerLanding, cost_per_landing
from lifecycle.decision import unshared
from lifecycle.diagnostics import TypeDiagnosis, diagnose
from lifecycle.dragging import DraggingBrake, dragging_brakes
from lifecycle.effectivity import note_effectivity
from lifecycle.errors import MissingAssumptionError, UnknownBaseError
from lifecycle.exposure import Runs, measure_runs
from lifecycle.flying import Flying, learn_flying
from lifecycle.forecast import ChangeOut, forecast_changeouts
from lifecycle.guarantee import Refund, refund_of_cost
from lifecycle.installed import installed_brakes
from lifecycle.next_look import NextLook, latest_looks, level_for
from lifecycle.observations import Records
from lifecycle.once import once
from lifecycle.past import run_states
from lifecycle.reliability import Removals, removal_rates
from lifecycle.retrofit import Briefing, brief_retrofit
from lifecycle.spares import SparesMonth, forecast_spares
from lifecycle.stays_watched import watched_stays
from lifecycle.wear import BrakeRate, FleetFit, Refit, driven, fit_fleet


@dataclass(frozen=True)
class Study:
    """
    One reproducible run of the chain; the same records, assumptions, days and seed give the same results.

    Attributes
    ----------
    number : str
        What the study is called where it is cited; "" if it is not kept.
    on, known_on : date
        The day forecast from, and the day as known on which the records are.
    seed : int
        Of everything drawn at random.
    records, assumptions : Records, AssumptionSet
        What went in.
    runs, fit, flying : Runs, FleetFit, Flying
        What the records say of wear and of flying.
    ledger_head : str
        Hash of the ledger's log that the records come from; "" if they come from no ledger.
    told : dict
        Results that were asked of it, by their questions; see `once.once`.
    """

    number: str
    on: dt.date
    known_on: dt.date
    seed: int
    records: Records
    assumptions: AssumptionSet
    runs: Runs
    fit: FleetFit
    flying: Flying
    ledger_head: str = ""
    told: dict[object, Any] = field(default_factory=dict, init=False, repr=False, compare=False)


def open_study(  # noqa: PLR0913 - all that a study depends on
    records: Records,
    assumptions: AssumptionSet,
    *,
    on: dt.date,
    known_on: dt.date,
    seed: int,
    number: str = "",
    ledger_head: str = "",
) -> Study:
    """
    Measure the runs, fit their wear and learn the flying.

    Parameters
    ----------
    records : Records
        Effective by ``on``, as known on ``known_on``.
    assumptions : AssumptionSet
        Approved and known by then.
    on, known_on : date
        The days of the study.
    seed : int
        Of everything drawn at random.
    number, ledger_head : str
        What to call the study, and the hash of the log that its records come from.

    Returns
    -------
    Study
        From which every result follows.

    Raises
    ------
    BadRecordsError
        If records contradict each other.
    NotEnoughDataError
        If no brake was ever installed.
    """
    runs = note_effectivity(measure_runs(records, on), records, on)
    return Study(
        number=number,
        ledger_head=ledger_head,
        on=on,
        known_on=known_on,
        seed=seed,
        records=records,
        assumptions=assumptions,
        runs=runs,
        fit=fit_fleet(runs),
        flying=learn_flying(records, on),
    )


@once
def refit(study: Study, *, brakes: bool = False, drivers: bool = False) -> Refit:
    """
    Estimated wear of every brake type, and of every run where asked.

    Parameters
    ----------
    study : Study
        The study.
    brakes : bool
        Also each run, finished and removed ones included.
    drivers : bool
        Also what drives the wear of each type, by a comparison of fits.

    Returns
    -------
    Refit
        As `pinledger refit` prints it.
    """
    return Refit(
        study=study.number,
        on=study.on,
        known_on=study.known_on,
        seed=study.seed,
        types=driven(study.fit, study.runs) if drivers else study.fit.types,
        brakes=_brake_rates(study) if brakes else (),
    )


def _brake_rates(study: Study) -> tuple[BrakeRate, ...]:
    runs, post = study.runs.runs, study.fit.posterior
    rows = zip(
        runs["serial"].astype(str),
        runs["run"].tolist(),
        post["rate_mm"].tolist(),
        np.sqrt(post["rate_var"]).tolist(),
        post["readings"].tolist(),
        run_states(runs),
        strict=True,
    )
    return tuple(BrakeRate(*row) for row in rows)


@once
def changeouts(study: Study, base: str = "", risk: float = 0.1) -> tuple[ChangeOut, ...]:
    """
    When each installed brake reaches its limit; see `forecast.forecast_changeouts`.

    Parameters
    ----------
    base : str
        Only brakes at this base; "" for all.
    risk : float
        Chance of having reached the limit that the order is by.

    Returns
    -------
    tuple of ChangeOut
        Soonest first.

    Raises
    ------
    UnknownBaseError
        If the base asked for is not on record.
    """
    _refuse_unknown(study, base)
    return forecast_changeouts(study.runs, study.fit, study.flying, study.on, base=base, risk=risk)


def _refuse_unknown(study: Study, base: str) -> None:
    """None asked for is every base; one mistyped must not look like one without brakes."""
    records = study.records
    named = (records.bases, records.aircraft, records.stock, study.runs.runs)
    known = sorted({str(each) for frame in named for each in frame["base"]} - {""})
    if base and base not in known:
        raise UnknownBaseError(
            f"base {base!r} is not on record; wanted one of {', '.join(known)}, or none for every base"
        )


@once
def spares(study: Study, months: int = 24, level: float = 0.9, base: str = "") -> tuple[SparesMonth, ...]:
    """
    Brakes needed by base, type and month; see `spares.forecast_spares`.

    Parameters
    ----------
    study : Study
        The study.
    months : int
        How many months ahead.
    level : float
        Chance that stock should cover demand.
    base : str
        Only this base; "" for all.

    Returns
    -------
    tuple of SparesMonth
        By base, brake type and month.

    Raises
    ------
    UnknownBaseError
        If the base asked for is not on record.
    """
    _refuse_unknown(study, base)
    found = forecast_spares(
        study.runs,
        study.fit,
        study.flying,
        study.records,
        study.assumptions,
        on=study.on,
        months=months,
        level=level,
    )
    return tuple(month for month in found if base in ("", month.base))


@once
def dragging(study: Study, base: str = "") -> tuple[DraggingBrake, ...]:
    """
    Installed brakes of a base (all: "") that wear faster or slower than their own past.

    Returns
    -------
    tuple of DraggingBrake
        See `dragging.dragging_brakes`.
    """
    _refuse_unknown(study, base)
    return dragging_brakes(study.runs, study.fit, base=base)


@once
def diagnosis(study: Study, brake_type: str = "") -> tuple[TypeDiagnosis, ...]:
    """
    Whether the wear model fits the records of a brake type (all: "").

    Returns
    -------
    tuple of TypeDiagnosis
        See `diagnostics.diagnose`.
    """
    return diagnose(study.runs, study.fit, brake_type)


@once
def next_looks(study: Study, base: str = "", level: float | None = None) -> tuple[NextLook, ...]:
    """
    The latest day for the next reading of each installed brake of a base (all: "").

    Parameters
    ----------
    study : Study
        The study.
    base : str
        Only this base.
    level : float, optional
        Chance to pass the limit unread; the assumption of each brake's scope where not given.

    Returns
    -------
    tuple of NextLook
        See `next_look.latest_looks`.
    """
    _refuse_unknown(study, base)
    installed = installed_brakes(study.runs, study.fit, study.flying, study.on, base=base)
    scopes = installed.frame[["aircraft_type", "brake_type", "base"]].astype(str).to_numpy().tolist()
    assumed = [
        level_for(study.assumptions, aircraft_type=aircraft, brake_type=kind, base=at).value
        for aircraft, kind, at in scopes
    ]
    return latest_looks(installed, study.flying, study.on, np.array(assumed) if level is None else level)


@once
def removals(study: Study) -> Removals:
    """
    How often brakes come off, by type and cause.

    Returns
    -------
    Removals
        See `reliability.removal_rates`.
    """
    watched = watched_stays(study.runs, study.fit, study.records)
    return removal_rates(watched, fit_causes(watched))


@once
def cost(study: Study) -> CostPerLanding:
    """
    Cost per braked landing of every brake type; see `cost.cost_per_landing`.

    Returns
    -------
    CostPerLanding
        All types in one currency.
    """
    return cost_per_landing(study.runs, study.fit, study.records, study.assumptions, on=study.on)


@once
def briefing(study: Study, from_type: str, to_type: str) -> Briefing:
    """
    Whether one brake type should replace another; see `retrofit.brief_retrofit`.

    Returns
    -------
    Briefing
        Drawn with the study's seed. Its edition is named by the study and the two types, since the same study always
        gives the same briefing of them; "" in a study that is not kept.
    """
    made = brief_retrofit(
        study.runs,
        study.fit,
        study.flying,
        study.records,
        study.assumptions,
        from_type=from_type,
        to_type=to_type,
        on=study.on,
        rng=np.random.default_rng(study.seed),
        study=study.number,
        edition=f"{study.number} {from_type} to {to_type}" if study.number else "",
    )
    return replace(made, ledger_head=study.ledger_head)


def claims(  # noqa: PLR0913 - a claim is a type, a figure and perhaps another type
    study: Study,
    brake_type: str,
    *,
    against: str = "",
    landings: float | None = None,
    ratio: float | None = None,
    guaranteed_cost: float | None = None,
    guaranteed_landings: float = 1.0,
) -> Claim:
    """
    What the records say of a claimed life, or ratio of lives; see `claims.check_claim`.

    Parameters
    ----------
    study : Study
        The study.
    brake_type, against : str
        The type claimed of, and the one a ratio is to.
    landings, ratio : float, optional
        What is claimed: one of the two.
    guaranteed_cost, guaranteed_landings : float, optional
        A guaranteed cost per landing and the landings that it holds for, to be valued beside the claim.

    Returns
    -------
    Claim
        With the refund where a cost is guaranteed; that two types share no aircraft type comes first in the warnings.
    """
    found = check_claim(
        study.runs, study.fit, brake_type=brake_type, against=against, landings=landings, ratio=ratio
    )
    told = unshared(study.runs, against, brake_type) if against else ""
    found = replace(found, warnings=(told, *found.warnings)) if told else found
    if guaranteed_cost is None:
        return found
    return replace(found, refund=_refund(study, brake_type, guaranteed_cost, guaranteed_landings))


def _refund(study: Study, brake_type: str, guaranteed_cost: float, landings: float) -> Refund:
    told = cost(study)
    of_type = next((each for each in told.types if each.brake_type == brake_type), None)
    if of_type is None:
        raise MissingAssumptionError(
            f"no cost per landing of {brake_type} to hold a guarantee against: {'; '.join(told.warnings)}"
        )
    return refund_of_cost(of_type.low, of_type.high, guaranteed_cost=guaranteed_cost, landings=landings)
