"""Which counters of landings help to tell a type's wear: by the corrected information criterion, one after another."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from lifecycle.bends import BendSums, filter_bends
from lifecycle.covariates import LANDINGS, Covariates, Kind
from lifecycle.kind_pooling import KindSeen
from lifecycle.landing_kinds import COSINE, ENERGY, REJECTED, SINE, TOUCHES
from lifecycle.pathfilter import Bools, Floats, PathSums, Readings, filter_path
from lifecycle.reml import Design, Profile, kinds_of, profile
from lifecycle.wear_case import WearCase
from lifecycle.wear_fit import WearFit, independent, products, with_free_level
from lifecycle.wear_prior import WearPrior

# Counters that are judged together, by what they are called on the page.
GROUPS: Final[Mapping[str, tuple[str, ...]]] = {
    "touch-and-gos": (TOUCHES,),
    "rejected take-offs": (REJECTED,),
    "landing energy": (ENERGY,),
    "season": (COSINE, SINE),
}
# By how much the criterion must fall: from 4 on the lesser model has considerably less support.
# K. P. Burnham, D. R. Anderson, Model Selection and Multimodel Inference, 2002, section 2.6 (recalled).
WORTH: Final = 4.0
VARIANCES: Final = 3
# A counter whose growth differs by less than this between runs and along them is constant: floats are rarely equal.
CONSTANT: Final = 1e-6


@dataclass(frozen=True)
class ChosenKinds:
    """
    What is made of the counters that a type carries.

    Attributes
    ----------
    kinds : tuple of Kind
        Worth a column.
    seen : dict of str to KindSeen
        Effect of each counter with its group alone, helpful or not.
    dropped : tuple of str
        Counters that cannot be told from places or other counters, in words.
    """

    kinds: tuple[Kind, ...]
    seen: dict[str, KindSeen]
    dropped: tuple[str, ...]


@dataclass(frozen=True)
class _Trial:
    """What every comparison shares: sums at the variances of the fit without counters, what is left of the wear."""

    sums: PathSums
    bends: BendSums
    z: Floats
    names: tuple[str, ...]
    readings: Readings
    fit: WearFit
    prior: WearPrior


def carried(case: WearCase, told: Bools) -> tuple[Kind, ...]:
    """
    Counters that grow differently in different runs, or unevenly along them.

    Parameters
    ----------
    case : WearCase
        The runs.
    told : array of bool, shape (n_runs,)
        Runs with a usable reading.

    Returns
    -------
    tuple of Kind
        Each centred on its growth per landing over all runs read.
    """
    found = []
    landings = case.readings.landings[-1][told] if case.readings.landings.shape[0] else np.zeros(0)
    for names in GROUPS.values():
        for name in names:
            share = case.shares.get((LANDINGS, name))
            if share is None or not landings.sum() > 0:
                continue
            bend = case.bends[LANDINGS, name][:, told]
            if np.ptp(share[told]) > CONSTANT or np.abs(bend).max(initial=0.0) > CONSTANT * landings.max():
                found.append(Kind(name, float(share[told] @ landings / landings.sum())))
    return tuple(found)


def corrected(minus_two_log: float, coefficients: int, runs: int) -> float:
    """
    Corrected information criterion of a mixed model.

    Parameters
    ----------
    minus_two_log : float
        -2 log of the full likelihood.
    coefficients, runs : int
        Coefficients of the mean, and independent runs.

    Returns
    -------
    float
        Infinite where there are too few runs for so many coefficients.

    Notes
    -----
    -2 log L + 2 k n / (n - k - 1), k the coefficients and three variances. Runs, not readings, are counted as n: the
    readings of one run share its rate.

    References
    ----------
    C. M. Hurvich, C.-L. Tsai, Biometrika 76, 1989, equation 4 (recalled).
    """
    k = coefficients + VARIANCES
    return minus_two_log + 2.0 * k * runs / (runs - k - 1) if runs > k + 1 else float("inf")


def choose_kinds(  # noqa: PLR0913, PLR0917 (the data, and the fit that they are judged by)
    case: WearCase,
    readings: Readings,
    covariates: Covariates,
    candidates: tuple[Kind, ...],
    fit: WearFit,
    prior: WearPrior,
) -> ChosenKinds:
    """
    Counters worth a column, chosen forwards.

    Parameters
    ----------
    case : WearCase
        The runs, whose readings in `readings` have passed the gate.
    readings : Readings
        Of the same runs.
    covariates : Covariates
        Without counters, as in `fit`.
    candidates : tuple of Kind
        From `carried`.
    fit : WearFit
        Without counters.
    prior : WearPrior
        Of that fit.

    Returns
    -------
    ChosenKinds
        Those by which the criterion falls by more than 4, group by group, and what each group shows on its own.

    Notes
    -----
    Restricted likelihoods of different means cannot be compared, so the full one is. It is taken at the variances of
    the fit without counters: the better model's own variances could only raise its likelihood, so that the choice errs
    on the side of plain landings.

    References
    ----------
    J. C. Pinheiro, D. M. Bates, Mixed-Effects Models in S and S-PLUS, 2000, section 2.4.1.
    """
    trial = _trial(case, readings, replace(covariates, kinds=candidates), fit, prior)
    alone = set(_distinct(trial))
    dropped = tuple(
        f"{name} cannot be told from places or other kinds of landings"
        for name in trial.names
        if name not in alone
    )
    groups = [set(names) & alone for names in GROUPS.values() if set(names) & alone]
    chosen: set[str] = set()
    best = _criterion(trial, chosen)
    while True:
        found = [
            (_criterion(trial, chosen | group), sorted(group)) for group in groups if not group <= chosen
        ]
        value, offer = min(found, default=(np.inf, []))
        if not value < best - WORTH:
            break
        best, chosen = value, chosen | set(offer)
    kinds = tuple(kind for kind in candidates if kind.name in chosen)
    seen = {name: one for group in groups for name, one in _seen(trial, group).items()}
    return ChosenKinds(kinds, seen, dropped)


def _distinct(trial: _Trial) -> list[str]:
    """Counters that are no mix of the places and of the counters before them."""
    kept = independent(products(trial.readings, trial.sums, trial.z, trial.bends))
    return [name for name, told in zip(trial.names, kept[-len(trial.names) :], strict=True) if told]


def _seen(trial: _Trial, group: set[str]) -> dict[str, KindSeen]:
    """Effects of the counters of one group, beside the places, and their standard errors: fractions of the rate."""
    at = _at(trial, group)
    errors = np.sqrt(at.sigma2 * np.diag(np.linalg.inv(at.information)))
    last = len(group)
    rate = float(trial.z.mean(axis=0)[: trial.fit.rate.size] @ trial.fit.rate)
    names = [name for name in trial.names if name in group]
    pairs = zip(names, at.coefficients[-last:] / rate, errors[-last:] / rate, strict=True)
    return {name: KindSeen(float(effect), abs(float(error))) for name, effect, error in pairs}


def _trial(
    case: WearCase, readings: Readings, covariates: Covariates, fit: WearFit, prior: WearPrior
) -> _Trial:
    told = np.flatnonzero((readings.valid & ~readings.restart).any(axis=0))
    z = covariates.columns(case.shares, len(case.runs))
    bent = covariates.bent(readings, case.bends)
    bent = (bent if fit.has_start else with_free_level(bent)).take(told)
    plain = np.append(fit.rate, np.zeros(len(covariates.kinds)))
    # What the fit without counters leaves: sums of squares keep their digits.
    line = z[told] @ plain * bent.landings + fit.start_mm * bent.unknown
    left = replace(bent, wear_mm=bent.straight(plain).wear_mm - bent.valid * line)
    return _Trial(
        sums=filter_path(left, fit.path_ratio),
        bends=filter_bends(left, fit.path_ratio),
        z=z[told],
        names=tuple(kind.name for kind in covariates.kinds),
        readings=left,
        fit=fit,
        prior=prior.shifted(fit.rate),
    )


def _criterion(trial: _Trial, chosen: set[str]) -> float:
    at = _at(trial, chosen)
    return corrected(at.value, at.coefficients.size, trial.readings.unknown.size)


def _at(trial: _Trial, chosen: set[str]) -> Profile:
    """The full likelihood with some of the counters."""
    places = trial.z.shape[1] - len(trial.names)
    kept = np.array([True] * places + [name in chosen for name in trial.names])
    bent = [number for number, column in enumerate(trial.readings.bent_columns) if kept[column]]
    columns = tuple(int(np.count_nonzero(kept[: trial.readings.bent_columns[number]])) for number in bent)
    bends = trial.bends
    some = BendSums(
        bends.m1[bent], bends.mx[bent], bends.h[bent], bends.gram[np.ix_(bent, bent)], bends.score[bent]
    )
    design = Design(
        *kinds_of(trial.z[:, kept]),
        trial.readings.unknown,
        trial.fit.has_start,
        trial.readings.degrees,
        trial.fit.measurement_sd**2 * 1e-6,
        columns,
    )
    return profile(
        trial.sums,
        design,
        trial.fit.spread,
        path_ratio=trial.fit.path_ratio,
        prior=trial.prior.and_free(len(chosen & set(trial.names))),
        bends=some if bent else None,
        restricted=False,
    )
