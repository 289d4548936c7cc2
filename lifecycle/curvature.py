"""Whether wear is linear in landings: a bend common to all runs of a type, tested beside its straight line."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import stdtr, stdtrit

from lifecycle.pathfilter import Floats
from lifecycle.whitened import Whitened

TAIL: Final = 0.1  # either side of an 80 % interval
OLD: Final = 0.9  # the age that the change is told up to: nine runs in ten were last read before it
LEAST: Final = 8  # innovations beyond the coefficients, below which nothing is tested


@dataclass(frozen=True)
class Curvature:
    """
    Change of the wear rate from the start of a run to an age, as a share of the mean rate, with its 80 % interval.

    ``chance`` is the p-value of a straight line: how often chance alone would show at least such a change.
    """

    change: float
    low: float
    high: float
    over_landings: float
    chance: float


def curvature_of(told: Whitened) -> Curvature | None:
    """
    Test whether the rate changes with age.

    Parameters
    ----------
    told : Whitened
        One brake type.

    Returns
    -------
    Curvature or None
        None where too few readings tell.

    Notes
    -----
    Mean wear r x + c x^2 with the fit's own covariances: the filter that makes the innovations is linear, so laid on
    x z_j and on x^2 it gives the columns of a least squares regression of the innovations, whose last coefficient is
    c. That is the Wald test of generalised least squares at the fitted variances, asymptotically the likelihood
    ratio. The change told is 2 c X over the mean rate, X the age.

    References
    ----------
    Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, section 2.4.2 (conditional t tests); recalled.
    """
    seen = np.isfinite(told.away)
    if not seen.any():
        return None
    x, read = told.readings.landings, told.readings.valid
    age = float(np.quantile(x.max(axis=0)[read.any(axis=0)], OLD))
    bend = told.of_series(x**2 / max(age, 1.0))[seen]
    columns = np.column_stack([*mean_columns(told, seen), bend])
    spare = int(seen.sum()) - np.linalg.matrix_rank(columns)
    if spare < LEAST or age <= 0:
        return None
    away = told.away[seen]
    found, *_ = np.linalg.lstsq(columns, away, rcond=None)
    left = away - columns @ found
    spread = np.linalg.pinv(columns.T @ columns) * (left @ left / spare)
    rate = float(np.mean(told.z @ told.model.fit.rate))
    bent, sd = 2 * float(found[-1]) / rate, 2 * float(np.sqrt(spread[-1, -1])) / abs(rate)
    half = float(stdtrit(spare, 1 - TAIL)) * sd
    chance = 2 * float(stdtr(spare, -abs(bent) / sd))
    return Curvature(bent, bent - half, bent + half, over_landings=age, chance=chance)


def mean_columns(told: Whitened, seen: np.ndarray[tuple[int, int], np.dtype[np.bool_]]) -> list[Floats]:
    """
    What each coefficient of the mean adds to the innovations.

    Parameters
    ----------
    told : Whitened
        One brake type.
    seen : array of bool, shape (n_readings, n_runs)
        Readings wanted.

    Returns
    -------
    list of array of shape (n_seen,)
        One entry a column of the rate, then one for the mean start where it was estimated.
    """
    x = told.readings.landings
    bends = dict(zip(told.readings.bent_columns, told.readings.bent, strict=True))
    columns = [told.of_series(x * told.z[:, at] + bends.get(at, 0.0))[seen] for at in range(told.z.shape[1])]
    if told.model.fit.has_start:
        columns.append(told.of_series(np.broadcast_to(told.readings.unknown, x.shape).astype(float))[seen])
    return columns
