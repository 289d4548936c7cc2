"""What drives wear: the effect of places and kinds of landings on each brake type, and whether it is there at all."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.special import ndtr, stdtrit

from lifecycle.covariates import FACTORS, LANDINGS, Covariates
from lifecycle.exposure import Runs
from lifecycle.kind_choice import GROUPS, carried, corrected
from lifecycle.outliers import gate
from lifecycle.pathfilter import Floats, Readings
from lifecycle.type_model import TypeModel, average_row
from lifecycle.wear_case import WearCase, cases_by_type
from lifecycle.wear_fit import WearFit, fit_readings, with_free_level

# More runs than this tell no more than the eye can see; evenly spaced ones are taken.
ENOUGH_RUNS: Final = 1500
TAIL: Final = 0.1
# Criteria closer than this hardly tell models apart (Burnham and Anderson, Model Selection, 2002, 2.6; from memory).
APART: Final = 2.0
ENERGY: Final = "landing energy"
PLACE_WORDS: Final[Mapping[str, str]] = {"position_group": "position group", "base": "base"}
UNITS: Final[Mapping[str, str]] = {
    "touch-and-gos": "a touch-and-go, beside a full stop's wear of 1",
    "rejected take-offs": "a stop of a landing's energy, beyond the 1 counted for it",
    ENERGY: "heavy and light landings, one of twice the energy (mass squared): 1 where wear goes all with energy, "
    "0 where with applications",
    "season": "half the swing over the year",
}


@dataclass(frozen=True)
class WearDriver:
    """
    One thing that wear may depend on, for one brake type.

    Attributes
    ----------
    driver : str
        ``base``, ``position group``, ``touch-and-gos``, ``rejected take-offs``, ``landing energy`` or ``season``.
    level : str
        The base or position group, or the part of the season; else "".
    unit : str
        What the effect is of, in words.
    effect, low, high : float
        Estimate and 80 % interval, as a fraction of a landing's wear, from the records of the type alone.
    chance : float
        That it has the sign shown: the chance that it differs from zero in that direction.
    criterion_gain : float
        By how much the corrected information criterion falls with the driver, all its levels together; below zero the
        records are explained as well without it. 0 where there are too few runs for a criterion.
    used : bool
        It is in the forecast.
    effect_used : float
        There, steadied by other types and common practice; 0 where not used.
    runs : int
        Runs it was told from.
    """

    driver: str
    level: str
    unit: str
    effect: float
    low: float
    high: float
    chance: float
    criterion_gain: float
    used: bool
    effect_used: float
    runs: int

    @property
    def helps(self) -> bool:
        """The records are clearly better explained with the driver than without it."""
        return self.criterion_gain > APART

    @property
    def told(self) -> bool:
        """
        The records say something of the size: the interval is no wider than a landing's wear, or leaves zero out.

        Of landing energy the question itself runs from 0 to 1, so that a wider interval says nothing of it.
        """
        if self.high - self.low <= 1.0:
            return True
        return self.driver != ENERGY and not self.low <= 0.0 <= self.high


@dataclass(frozen=True)
class _Compared:
    """Fits of one type with all drivers: restricted for the effects, full for the criterion."""

    case: WearCase
    covariates: Covariates
    readings: Readings
    effects: WearFit
    full: WearFit


def what_drives_wear(runs: Runs, models: Mapping[str, TypeModel]) -> dict[str, tuple[WearDriver, ...]]:
    """
    Effects of every driver that the records carry, type by type.

    Parameters
    ----------
    runs : Runs
        From exposure.
    models : mapping of str to TypeModel
        `wear.FleetFit.models` of these runs.

    Returns
    -------
    dict
        By brake type; a type that nobody has read has none.

    Notes
    -----
    All drivers stand in one model without beliefs about them; its effects are those of restricted likelihood. Whether a
    driver helps is told by full likelihoods with and without it, each at its own variances: those of restricted
    likelihood do not compare between different means. Criterion as in `kind_choice.corrected`.

    References
    ----------
    J. C. Pinheiro, D. M. Bates, Mixed-Effects Models in S and S-PLUS, 2000, sections 2.2.5 and 2.4.
    """
    cases = cases_by_type(runs)
    return {
        name: _drivers(cases[name], model) if model.kind == "estimated" else ()
        for name, model in models.items()
        if name in cases
    }


def _drivers(case: WearCase, model: TypeModel) -> tuple[WearDriver, ...]:
    compared = _compare(case, model)
    if compared is None:
        return ()
    found: list[WearDriver] = []
    for factor in FACTORS:
        levels = [level for level in compared.covariates.levels if level[0] == factor]
        if len(levels) > 1:
            found += _of_places(compared, model, factor, levels)
    names = {kind.name for kind in compared.covariates.kinds}
    for group, members in GROUPS.items():
        if names & set(members):
            found += _of_kinds(compared, model, group, sorted(names & set(members)))
    return tuple(found)


def _compare(case: WearCase, model: TypeModel) -> _Compared | None:
    bent = model.covariates.bent(case.readings, case.bends)
    judged = gate(model.fit, bent, model.covariates.columns(case.shares, len(case.runs))).readings
    told = np.asarray((judged.valid & ~judged.restart).any(axis=0))
    kinds = tuple(kind for kind in carried(case, told) if kind.name in model.seen)
    covariates = replace(model.covariates, kinds=kinds)
    if not covariates.levels and not kinds:
        return None
    readings = replace(judged, bent=np.zeros((0, 0, 0)), bent_columns=())
    full = _fit(case, covariates, readings, model, restricted=False)
    effects = _fit(case, covariates, readings, model, restricted=True)
    return _Compared(case, covariates, readings, effects, full)


def _fit(
    case: WearCase, covariates: Covariates, readings: Readings, model: TypeModel, *, restricted: bool
) -> WearFit:
    """The model with these columns, no belief about any, from at most so many runs."""
    bent = covariates.bent(readings if model.fit.has_start else with_free_level(readings), case.bends)
    z = covariates.columns(case.shares, len(case.runs))
    told = np.flatnonzero((bent.valid & ~bent.restart).any(axis=0))
    some = told[np.unique(np.linspace(0, told.size - 1, min(told.size, ENOUGH_RUNS)).astype(np.int64))]
    return fit_readings(
        bent.take(some),
        z[some],
        measurement_floor_mm=case.resolution_mm / np.sqrt(12.0),
        near=model.fit,
        restricted=restricted,
    )


def _gain(compared: _Compared, model: TypeModel, without: Covariates) -> float:
    less = _fit(compared.case, without, compared.readings, model, restricted=False)
    gain = _corrected(less) - _corrected(compared.full)
    # With hardly more runs than columns the criterion has no value: then nothing speaks for the driver.
    return gain if np.isfinite(gain) else 0.0


def _corrected(fit: WearFit) -> float:
    return corrected(fit.criterion, int(np.count_nonzero(fit.columns_kept)) + fit.has_start, fit.runs)


def _of_places(
    compared: _Compared, model: TypeModel, factor: str, levels: list[tuple[str, str]]
) -> list[WearDriver]:
    """Each level against the average of the levels of its factor."""
    others = tuple(level for level in compared.covariates.levels if level[0] != factor)
    gain = _gain(compared, model, replace(compared.covariates, levels=others))
    places = [1 + compared.covariates.levels.index(level) for level in levels]
    average = np.zeros(compared.effects.rate.size)
    average[places] = 1.0 / len(places)
    found = []
    for level, place in zip(levels, places, strict=True):
        contrast = np.where(np.arange(average.size) == place, 1.0, 0.0) - average
        used = (
            contrast[: 1 + len(model.covariates.levels)] @ model.fit.rate[: 1 + len(model.covariates.levels)]
        )
        name = (
            PLACE_WORDS[factor],
            level[1] or "not recorded",
            "a landing there, against the average of places",
        )
        found.append(_driver(compared, model, name, contrast, gain=gain, used=float(used)))
    return found


def _of_kinds(compared: _Compared, model: TypeModel, group: str, members: list[str]) -> list[WearDriver]:
    kept = tuple(kind for kind in compared.covariates.kinds if kind.name not in members)
    gain = _gain(compared, model, replace(compared.covariates, kinds=kept))
    first = 1 + len(compared.covariates.levels)
    used = {
        kind.level: effect for kind, effect in zip(model.covariates.kinds, _kind_effects(model), strict=True)
    }
    found = []
    for number, kind in enumerate(compared.covariates.kinds):
        if kind.name in members:
            contrast = np.where(np.arange(compared.effects.rate.size) == first + number, 1.0, 0.0)
            level = kind.name.partition(", ")[2]
            name = (group, level, UNITS[group])
            found.append(
                _driver(compared, model, name, contrast, gain=gain, used=used.get((LANDINGS, kind.name)))
            )
    return found


def _kind_effects(model: TypeModel) -> list[float]:
    return [float(effect) for effect in model.fit.rate[1 + len(model.covariates.levels) :]]


def _driver(  # noqa: PLR0913 (the fits, the words, and the figures of one line)
    compared: _Compared,
    model: TypeModel,
    name: tuple[str, str, str],
    contrast: Floats,
    *,
    gain: float,
    used: float | None,
) -> WearDriver:
    fit = compared.effects
    rate = float(average_row(compared.covariates) @ fit.rate)
    effect = float(contrast @ fit.rate) / rate
    variance = float(contrast @ fit.covariance[1:, 1:] @ contrast)
    error = float(np.sqrt(max(variance, 0.0))) / abs(rate)
    half = float(stdtrit(max(fit.runs - fit.rate.size, 1), 1 - TAIL)) * error
    in_forecast = float(average_row(model.covariates) @ model.fit.rate)
    return WearDriver(
        driver=name[0],
        level=name[1],
        unit=name[2],
        effect=effect,
        low=effect - half,
        high=effect + half,
        chance=float(ndtr(abs(effect) / error)) if error > 0 else 0.5,
        criterion_gain=gain,
        used=used is not None,
        effect_used=used / in_forecast if used is not None else 0.0,
        runs=fit.runs,
    )
