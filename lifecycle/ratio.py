"""A ratio of two sums over aircraft and how surely it is known: delta and Fieller intervals."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from lifecycle.errors import NotEnoughDataError


@dataclass(frozen=True)
class SumRatio:
    """A ratio of sums; an interval end is None where the data do not bound it."""

    ratio: float
    delta_low: float | None
    delta_high: float | None
    fieller_low: float | None
    fieller_high: float | None


def ratio_of_sums(amounts: npt.ArrayLike, exposures: npt.ArrayLike, *, level: float = 0.8) -> SumRatio:
    """
    Sum of amounts over sum of exposures, with intervals from the scatter between units.

    Parameters
    ----------
    amounts, exposures : array_like of shape (n_units,)
        What each unit (aircraft) amounts to, and its exposure (landings), the sum of which is above zero.
    level : float
        Confidence of the intervals.

    Returns
    -------
    SumRatio
        The ratio; delta interval ``ratio -+ t sqrt(n / (n - 1) sum (a - ratio e)^2) / sum e`` and Fieller's,
        both with t of n - 1 degrees of freedom. None with one unit, and for Fieller where it is unbounded.

    Raises
    ------
    NotEnoughDataError
        If there is no exposure.

    Notes
    -----
    Never a mean of ratios: a unit that flew little would count like one that flew much.

    References
    ----------
    Cochran 1977, Sampling Techniques, section 6.3 (delta). Fieller 1954, J. R. Stat. Soc. B 16, section 4.
    """
    amount, exposure = np.asarray(amounts, dtype=np.float64), np.asarray(exposures, dtype=np.float64)
    if exposure.sum() <= 0:
        raise NotEnoughDataError("a ratio over no landings; at least one landing is wanted")
    ratio = float(amount.sum() / exposure.sum())
    units = amount.size
    if units < 2:
        return SumRatio(ratio, None, None, None, None)
    t = float(stdtrit(units - 1, 0.5 + level / 2))
    covariance = np.cov(np.stack([amount, exposure])) / units
    means = np.array([amount.mean(), exposure.mean()])
    spread = covariance[0, 0] - 2 * ratio * covariance[0, 1] + ratio**2 * covariance[1, 1]
    half = float(t * np.sqrt(max(spread, 0.0)) / means[1])
    return SumRatio(ratio, ratio - half, ratio + half, *_fieller(means, covariance, t))


def _fieller(
    means: npt.NDArray[np.float64], covariance: npt.NDArray[np.float64], t: float
) -> tuple[float | None, float | None]:
    """Roots r of (a - r e)^2 = t^2 Var(a - r e); unbounded where the exposure is not surely above zero."""
    square = means[1] ** 2 - t**2 * covariance[1, 1]
    middle = means[0] * means[1] - t**2 * covariance[0, 1]
    constant = means[0] ** 2 - t**2 * covariance[0, 0]
    if square <= 0:
        return None, None
    root = np.sqrt(max(middle**2 - square * constant, 0.0))
    return float((middle - root) / square), float((middle + root) / square)
