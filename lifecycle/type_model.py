"""Fit of one brake type: weak beliefs, outliers out, variances last; small types lean on the others."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from lifecycle.checked_rate import with_checks
from lifecycle.covariates import EFFECT, Covariates, Kind, choose
from lifecycle.judged_alone import judge_by_the_others
from lifecycle.kind_choice import ChosenKinds, carried, choose_kinds
from lifecycle.kind_pooling import NO_BELIEFS, KindBelief, KindSeen, pooled_belief, weak_belief
from lifecycle.outliers import GATE, Gated, gate, rejudged
from lifecycle.pathfilter import Floats, Readings
from lifecycle.posterior import innovations
from lifecycle.wear_case import WearCase
from lifecycle.wear_fit import WearFit, fit_readings, with_free_level
from lifecycle.wear_prior import WearPrior

# Squared deviations that the belief about each variance counts as; a type of 40 runs outvotes it 20 to 1.
WEIGHT: Final = 2.0
# Fewer runs with an unknown start tell nothing of its distribution: each then sets its own level.
STARTS_WANTED: Final = 10
ROUNDS: Final = 3
FEW_RUNS: Final = 10
NONE_CHOSEN: Final = ChosenKinds((), {}, ())


@dataclass(frozen=True)
class Typical:
    """
    A brake type not seen yet.

    Attributes
    ----------
    rate_mm : float
        Wear per braked landing, mm.
    rate_spread : float
        Standard deviation of the rate between types, as a fraction of it.
    scatter : float
        Standard deviation of the rate between runs of a type, as a fraction of the rate.
    path : float
        Standard deviation of the path per root landing, in landings' worth of wear.
    measurement_sd : float
        Of one reading, mm.
    seen : int
        Types it was learned from.
    """

    rate_mm: float
    rate_spread: float
    scatter: float
    path: float
    measurement_sd: float
    seen: int = 0


# One thousandth of an inch a landing is a rule of thumb of the trade; the rest is common practice, no source.
RULE_OF_THUMB: Final = Typical(rate_mm=0.0254, rate_spread=0.8, scatter=0.12, path=1.2, measurement_sd=0.15)


@dataclass(frozen=True)
class TypeModel:
    """
    What is held of one brake type.

    Attributes
    ----------
    fit : WearFit
        Estimates; of an unread type the typical ones, with the spread between types as uncertainty.
    covariates : Covariates
        Columns of the design.
    runs_dof, path_dof : float
        Degrees of freedom behind the variance between runs and behind those within a run.
    kind : str
        ``estimated``, or ``assumed`` where no run of the type was read.
    warnings : tuple of str
        How far the figures lean on beliefs.
    seen : mapping of str to KindSeen
        Effect of each counter that the records of the type carry, in the fit or not.
    """

    fit: WearFit
    covariates: Covariates
    runs_dof: float
    path_dof: float
    kind: str
    warnings: tuple[str, ...] = ()
    seen: Mapping[str, KindSeen] = field(default_factory=dict)


def fit_type(case: WearCase, typical: Typical, pooled: Mapping[str, KindBelief] = NO_BELIEFS) -> TypeModel:
    """
    Fit one type that has at least one usable reading to tell of its rate.

    Parameters
    ----------
    case : WearCase
        Its runs and readings.
    typical : Typical
        What the beliefs centre on.
    pooled : mapping of str to KindBelief
        What other types showed of a counter's effect.

    Returns
    -------
    TypeModel
        The fit without the readings that it cannot explain.
    """
    readings = _levelled(case.readings)
    told = np.asarray(readings.valid.any(axis=0))
    covariates = choose(case.shares, told)
    rough = _rough_rates(readings)
    rate_mm = _middle_rate(rough, typical)
    prior = _beliefs(readings, covariates, rate_mm, typical)
    bent, z = covariates.bent(readings, case.bends), covariates.columns(case.shares, len(case.runs))
    floor = case.resolution_mm / np.sqrt(12.0)
    first = _guess(rate_mm, z.shape[1], prior, floor, spread_mm=_spread(rough))
    judged = gate(first, bent, z, limit=GATE * _inflation(first, bent, z))
    fit, judged = _settled(bent, z, prior, floor, judged=judged, near=None)
    candidates = carried(case, told)
    found = NONE_CHOSEN
    if candidates:
        found = choose_kinds(case, judged.readings, covariates, candidates, fit, prior)
    kinds = tuple(kind for kind in candidates if kind in found.kinds or _shown(kind, found, pooled))
    covariates = replace(covariates, dropped=(*covariates.dropped, *found.dropped))
    if kinds:
        covariates = replace(covariates, kinds=kinds)
        prior = _with_kinds(prior, kinds, rate_mm, pooled)
        bent, z = covariates.bent(readings, case.bends), covariates.columns(case.shares, len(case.runs))
        judged = replace(judged, readings=rejudged(bent, judged.gated, judged.reopened))
        fit, judged = _settled(bent, z, prior, floor, judged=judged, near=fit)
    fit = with_checks(fit, case, judged.readings, z, prior)
    return replace(_model(fit, covariates, prior), seen=found.seen)


def _settled(  # noqa: PLR0913 (the readings, what is believed, where to begin)
    readings: Readings, z: Floats, prior: WearPrior, floor: float, *, judged: Gated, near: WearFit | None
) -> tuple[WearFit, Gated]:
    """Fit and gate by turns until the same readings are kept out."""
    fit = fit_readings(judged.readings, z, prior=prior, measurement_floor_mm=floor, near=near)
    for _ in range(ROUNDS - 1):
        again = gate(fit, readings, z)
        again = judge_by_the_others(again, readings, z, fit=fit, prior=prior, floor_mm=floor)
        if np.array_equal(again.gated, judged.gated) and np.array_equal(again.reopened, judged.reopened):
            break
        judged, prior = again, replace(prior, reference_sd=fit.measurement_sd)
        fit = fit_readings(judged.readings, z, prior=prior, measurement_floor_mm=floor, near=fit)
    return fit, judged


def _shown(kind: Kind, found: ChosenKinds, pooled: Mapping[str, KindBelief]) -> bool:
    """Whether other types show the effect of a counter that this one can tell: weak records lean on them."""
    return kind.name in found.seen and kind.name in pooled and pooled[kind.name].shown


def _with_kinds(
    prior: WearPrior, kinds: tuple[Kind, ...], rate_mm: float, pooled: Mapping[str, KindBelief]
) -> WearPrior:
    beliefs = [pooled.get(kind.name, weak_belief(kind.name)) for kind in kinds]
    return replace(
        prior,
        rate=(*prior.rate, *(belief.mean * rate_mm for belief in beliefs)),
        rate_scale=(*prior.rate_scale, *(belief.sd * rate_mm for belief in beliefs)),
    )


def is_told(case: WearCase) -> bool:
    """Whether any reading says something of the rate: one beyond those that only set an unknown level."""
    return _levelled(case.readings).degrees > 0


def _levelled(readings: Readings) -> Readings:
    """Each unknown start its own level, where too few tell of their distribution."""
    unknown = np.count_nonzero(readings.valid.any(axis=0) & (readings.unknown > 0))
    return readings if unknown >= STARTS_WANTED else with_free_level(readings)


def assume_type(typical: Typical) -> TypeModel:
    """What is held of a type that nobody has read: the typical brake, as unsure as types differ."""
    covariance = np.diag([0.0, (typical.rate_spread * typical.rate_mm) ** 2])
    fit = WearFit(
        rate=np.array([typical.rate_mm]),
        covariance=covariance,
        rate_sd=typical.scatter * typical.rate_mm,
        path_sd=typical.path * typical.rate_mm,
        measurement_sd=typical.measurement_sd,
        start_mm=0.0,
        start_sd=0.0,
        start_correlation=0.0,
        has_start=False,
        criterion=0.0,
        degrees=0.0,
        runs=0,
        readings=0,
        columns_kept=np.ones(1, dtype=np.bool_),
    )
    dof = 3.0 + typical.seen
    source = "the other types" if typical.seen else "a rule of thumb"
    said = (f"no run of this type has been read: assumed from {source}",)
    return TypeModel(fit, Covariates((), ()), runs_dof=dof, path_dof=dof, kind="assumed", warnings=said)


def typical_of(models: list[TypeModel]) -> Typical:
    """
    The typical brake, from the types read so far; the rule of thumb counts as one type more.

    Parameters
    ----------
    models : list of TypeModel
        Fitted types.

    Returns
    -------
    Typical
        `RULE_OF_THUMB` where the list is empty.
    """
    if not models:
        return RULE_OF_THUMB
    thumb, fits = RULE_OF_THUMB, [model.fit for model in models]
    rates = np.array([max(mean_rate(model), 1e-9) for model in models])
    logs = np.log(rates)
    variance = (np.sum((logs - logs.mean()) ** 2) + 2 * thumb.rate_spread**2) / (logs.size + 1)
    return Typical(
        rate_mm=float(np.exp(logs.mean())),
        rate_spread=float(np.sqrt(variance * (1 + 1 / logs.size))),
        scatter=_typical_sd(
            [fit.rate_sd / rate for fit, rate in zip(fits, rates, strict=True)], thumb.scatter
        ),
        path=_typical_sd([fit.path_sd / rate for fit, rate in zip(fits, rates, strict=True)], thumb.path),
        measurement_sd=_typical_sd([fit.measurement_sd for fit in fits], thumb.measurement_sd),
        seen=logs.size,
    )


def beliefs_of(models: list[TypeModel]) -> dict[str, KindBelief]:
    """What types show of each counter that any of them carries."""
    names = {name for model in models for name in model.seen}
    return {
        name: pooled_belief(name, [model.seen[name] for model in models if name in model.seen])
        for name in sorted(names)
    }


def leans_on(model: TypeModel, pooled: Mapping[str, KindBelief]) -> bool:
    """Whether what other types show of landing kinds would change this type's fit."""
    shown = any(belief.shown and name in model.seen for name, belief in pooled.items())
    return bool(pooled) and (shown or bool(model.covariates.kinds))


def _typical_sd(found: list[float], rule: float) -> float:
    """The mean square whose belief explains these variances best: their harmonic mean, the rule being one of them."""
    return float(1.0 / np.sqrt(np.mean(1.0 / np.square(np.maximum([*found, rule], 1e-9 * rule)))))


def mean_rate(model: TypeModel) -> float:
    """Rate at the average of the levels of each factor, mm per landing."""
    return float(average_row(model.covariates) @ model.fit.rate)


def average_row(covariates: Covariates) -> Floats:
    """Design row of a brake whose landings are spread evenly over the levels of each factor."""
    return np.asarray(covariates.columns({}, 1)[0])


def _rough_rates(readings: Readings) -> Floats:
    """Median slope of each run from its start (its first reading, where the start is unknown); runs without one out."""
    free = with_free_level(readings)
    runs = np.arange(free.unknown.size)
    moved, first = free.restart.any(axis=0), free.restart.argmax(axis=0)
    dx = free.landings - np.where(moved, free.landings[first, runs], 0.0)
    dw = free.wear_mm - np.where(moved, free.wear_mm[first, runs], 0.0)
    told = free.valid & (dx > 0)
    slopes = np.sort(np.divide(dw, dx, out=np.full_like(dw, np.inf), where=told), axis=0)
    count = np.count_nonzero(told, axis=0)
    return np.asarray(slopes[np.maximum(count - 1, 0) // 2, runs][count > 0])


def _middle_rate(rough: Floats, typical: Typical) -> float:
    rate = float(np.median(rough)) if rough.size else 0.0
    return rate if rate > 0 else typical.rate_mm


def _spread(rough: Floats) -> float:
    """Standard deviation of the runs' rates by their median distance from the middle, which slips do not move."""
    return float(np.median(np.abs(rough - np.median(rough)))) / 0.6745 if rough.size else 0.0


def _beliefs(readings: Readings, covariates: Covariates, rate_mm: float, typical: Typical) -> WearPrior:
    effects = [EFFECT[factor] * rate_mm for factor, _ in covariates.levels]
    first = readings.valid & (np.cumsum(readings.valid, axis=0) == 1) & (readings.unknown > 0)
    starts = (readings.wear_mm - rate_mm * readings.landings)[first]
    return WearPrior(
        weight=WEIGHT,
        rate_sd=typical.scatter * rate_mm,
        path_sd=typical.path * rate_mm,
        measurement_sd=typical.measurement_sd,
        start_sd=max(float(np.std(starts)), typical.measurement_sd) if starts.size else 0.0,
        rate=(typical.rate_mm, *(0.0 for _ in effects)),
        rate_scale=(typical.rate_spread * max(typical.rate_mm, rate_mm), *effects),
        reference_sd=typical.measurement_sd,
    )


def _guess(rate_mm: float, columns: int, prior: WearPrior, floor_mm: float, *, spread_mm: float) -> WearFit:
    """
    A fit before any fit: the rough rate and the beliefs, with room for what the covariates will explain.

    Brakes of a type may differ by more than is believed: then the spread that is seen counts, or a brake that wears
    fast from its first reading to its last would be taken for a row of slips.
    """
    return WearFit(
        rate=np.concatenate([[rate_mm], np.zeros(columns - 1)]),
        covariance=np.zeros((1 + columns, 1 + columns)),
        rate_sd=max(3.0 * prior.rate_sd, spread_mm),
        path_sd=prior.path_sd,
        measurement_sd=max(prior.measurement_sd, floor_mm),
        start_mm=0.0,
        start_sd=0.0,
        start_correlation=0.0,
        has_start=False,
        criterion=0.0,
        degrees=0.0,
        runs=0,
        readings=0,
        columns_kept=np.ones(columns, dtype=np.bool_),
    )


def _inflation(fit: WearFit, readings: Readings, z: Floats) -> float:
    """How much wider than guessed the bulk of the innovations is, by the median, which slips do not move."""
    away = innovations(fit, readings, z)
    away = away[np.isfinite(away)]
    return max(float(np.median(np.abs(away))) / 0.6745, 1.0) if away.size else 1.0


def _model(fit: WearFit, covariates: Covariates, prior: WearPrior) -> TypeModel:
    sigma2 = fit.measurement_sd**2
    believed = prior.precision(fit.rate.size, has_start=False) * np.diag(fit.covariance)[1:] / sigma2
    spent = fit.rate.size - float(
        np.sum(believed)
    )  # coefficients that the readings, not the beliefs, settled
    return TypeModel(
        fit=fit,
        covariates=covariates,
        runs_dof=max(fit.runs - spent + WEIGHT, 1.0),
        path_dof=max(fit.readings - fit.runs - spent + WEIGHT, 1.0),
        kind="estimated",
        warnings=_type_warnings(fit, covariates),
    )


def _type_warnings(fit: WearFit, covariates: Covariates) -> tuple[str, ...]:
    found = []
    if fit.runs < FEW_RUNS:
        runs = "1 run" if fit.runs == 1 else f"{fit.runs} runs"
        found.append(f"{runs} read: the scatter leans on other types or common practice")
    if average_row(covariates) @ fit.rate <= 0:
        found.append("mean wear per landing is not above zero: check the convention and unit of its readings")
    return tuple(found)
