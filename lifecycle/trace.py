"""Wear of one run between its readings: the path that the model sees through them, with its band."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.linalg import cho_factor, cho_solve

from lifecycle.wear import PriorRate

Floats = npt.NDArray[np.float64]

# Variance of a level that nobody knows, against the squared largest wear read: no belief at all.
UNKNOWN_LEVEL: float = 1e4


@dataclass(frozen=True)
class Trace:
    """Wear along a run, mm: mean and standard deviation at some landings, arrays of shape (n,)."""

    landings: Floats
    wear_mm: Floats
    sd_mm: Floats


def trace_wear(  # noqa: PLR0913 - the readings and what is believed of them
    at: Floats,
    *,
    landings: Floats,
    wear_mm: Floats,
    prior: PriorRate,
    known_start: bool,
    measurement_sd: float,
) -> Trace:
    """
    Wear of one run at any landings, given all its usable readings.

    Parameters
    ----------
    at : array of shape (n,)
        Braked landings of the run asked about.
    landings, wear_mm : array of shape (n_readings,)
        Usable readings of one level: braked landings, and wear in mm.
    prior : PriorRate
        What is believed of the rate before any reading, and the path noise.
    known_start : bool
        Wear is 0 at 0 landings; else the level is unknown.
    measurement_sd : float
        Of one reading, mm.

    Returns
    -------
    Trace
        Mean and standard deviation of the wear itself, not of a reading of it.

    Notes
    -----
    Regression on a Gaussian path: wear = level + rate x + s B(x), covariance level_var + V x x' + s^2 min(x, x').
    At the last reading it agrees with the filter's posterior, from which the forecast starts.

    References
    ----------
    Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, section 2.2 (recalled).
    """
    size = max(float(np.max(np.abs(wear_mm), initial=0.0)), 1.0)
    level_var = 0.0 if known_start else UNKNOWN_LEVEL * size**2

    def covariance(one: Floats, other: Floats) -> Floats:
        x, y = one[:, None], other[None, :]
        return np.asarray(level_var + prior.rate_var * x * y + prior.path_sd**2 * np.minimum(x, y))

    mean, variance = prior.rate_mm * at, np.diag(covariance(at, at))
    if landings.size:
        read = covariance(landings, landings) + measurement_sd**2 * np.eye(landings.size)
        cross = covariance(at, landings)
        factor = cho_factor(read)
        mean = mean + cross @ cho_solve(factor, wear_mm - prior.rate_mm * landings)
        variance = variance - np.einsum("ij,ji->i", cross, cho_solve(factor, cross.T))
    return Trace(at, mean, np.sqrt(np.maximum(variance, 0.0)))
