"""How much each aircraft flies of late, and how far such forecasts were off in the past."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.days import FloatArray, IntArray
from lifecycle.flown_months import FlownMonths

HALF_LIVES: Final = (3.0, 6.0, 12.0, 24.0)  # months after which a month of the log counts half
ORIGINS: Final = tuple(range(3, 25, 3))  # months ago
HORIZONS: Final = (3, 6, 12)  # months ahead
LEAST_LANDINGS: Final = 20.0  # a forecast of fewer tells nothing about its error
CV_ASSUMED: Final = 0.10  # before the log says; weighs as much as CV_WEIGHT outcomes
CV_WEIGHT: Final = 10.0
CV_FLOOR: Final = 0.03  # no fleet's flying is known better than this
LEVEL_CV_FLOOR: Final = 0.02


@dataclass(frozen=True)
class Levels:
    """Landings a day of each aircraft with the season taken out, shape (a,), and the error of such forecasts."""

    landings_a_day: FloatArray
    cv_u: float
    half_life_months: float


def learn_levels(
    months: FlownMonths, factors: FloatArray, groups: tuple[IntArray, IntArray], phi: float
) -> Levels:
    """
    Level of each aircraft and the error of past forecasts made the same way.

    Parameters
    ----------
    months : FlownMonths
        The log by aircraft and month.
    factors : array of float, shape (a, m)
        Month factor of each aircraft and column.
    groups : tuple of two arrays of int64, shape (a,)
        Number of the aircraft's type and base together, and of its type.
    phi : float
        Dispersion of monthly landings.

    Returns
    -------
    Levels
        With the half-life that would have served best.

    Notes
    -----
    For each half-life, forecasts from every third month of the last two years over 3, 6 and 12 months are set
    against what was flown on the days on record. Of the mean squared relative error, less phi/N for the scatter of
    the N landings themselves, `CV_ASSUMED` squared counts as `CV_WEIGHT` outcomes; its root, at least `CV_FLOOR`, is
    cv_u. The season is that of the whole log.
    """
    exposure = months.days * factors
    errors = [_squared_errors(months, exposure, groups, phi, half_life) for half_life in HALF_LIVES]
    size = len(errors[0])
    best = int(np.argmin([error.mean() if size else 0.0 for error in errors])) if size else 1
    total = errors[best].sum() + CV_WEIGHT * CV_ASSUMED**2
    cv_u = max(float(np.sqrt(max(total / (size + CV_WEIGHT), 0.0))), CV_FLOOR)
    level = _levels(months.landings, exposure, groups, phi, HALF_LIVES[best])
    return Levels(level, cv_u, HALF_LIVES[best])


def _squared_errors(
    months: FlownMonths, exposure: FloatArray, groups: tuple[IntArray, IntArray], phi: float, half_life: float
) -> FloatArray:
    """Squared relative errors less those of counting, one for each aircraft, origin and horizon that can tell."""
    columns = exposure.shape[1]
    found = [np.zeros(0)]
    for origin in (columns - months_ago for months_ago in ORIGINS if columns - months_ago >= 3):
        past = slice(0, origin)
        level = _levels(months.landings[:, past], exposure[:, past], groups, phi, half_life)
        seen = exposure[:, past].sum(axis=1) > 0
        for horizon in HORIZONS:
            ahead = slice(origin, origin + horizon)
            expected = level * exposure[:, ahead].sum(axis=1)
            tells = seen & (expected >= LEAST_LANDINGS) & (months.days[:, ahead].sum(axis=1) >= 15 * horizon)
            if origin + horizon <= columns and tells.any():
                actual = months.landings[tells, ahead].sum(axis=1)
                off = np.clip(actual / expected[tells] - 1, -1, 1)
                found.append(off**2 - phi / expected[tells])
    return np.concatenate(found)


def _levels(
    landings: FloatArray,
    exposure: FloatArray,
    groups: tuple[IntArray, IntArray],
    phi: float,
    half_life: float,
) -> FloatArray:
    """Recent landings a day, shrunk to type and base, these to the type, and the type to the fleet."""
    weight = 0.5 ** (np.arange(landings.shape[1])[::-1] / half_life)
    flown, exposed = landings @ weight, exposure @ weight
    prior = np.full(len(flown), flown.sum() / max(exposed.sum(), 1e-9))
    for group in (groups[1], groups[0]):
        prior = _pooled(flown, exposed, group, prior, phi)
    days = _prior_days(flown, exposed, prior, phi)
    return np.asarray((flown + days * prior) / (exposed + days))


def _pooled(
    flown: FloatArray, exposed: FloatArray, group: IntArray, prior: FloatArray, phi: float
) -> FloatArray:
    """Mean level of each group, given the prior as many days as one aircraft's own level is given."""
    days = _prior_days(flown, exposed, prior, phi)
    sums = pd.DataFrame({"flown": flown, "exposed": exposed}).groupby(group).transform("sum")
    return np.asarray((sums["flown"] + days * prior) / (sums["exposed"] + days))


def _prior_days(flown: FloatArray, exposed: FloatArray, prior: FloatArray, phi: float) -> FloatArray:
    """
    Days of flying that the prior is worth: phi / (cv^2 x prior), cv between aircraft by the method of moments.

    Less than a month of log tells that much less about the spread between aircraft, and few aircraft cannot tell it
    at all: cv^2 = 0.04 counts as two of them. A few days scatter like a Poisson count even if whole months do not.
    """
    known = (exposed > 0) & (prior > 0) & (flown > 0)
    expected = exposed[known] * prior[known]
    weight = np.minimum(exposed[known] / 30.0, 1.0)
    between = float(np.sum(weight * ((flown[known] / expected - 1) ** 2 - max(phi, 1.0) / expected)))
    cv = max(np.sqrt(max((between + 2 * 0.04) / (weight.sum() + 2), 0.0)), LEVEL_CV_FLOOR)
    return np.asarray(max(phi, 1.0) / (cv**2 * np.maximum(prior, 1e-9)))
