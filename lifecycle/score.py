"""
Proper scores of forecasts: the smaller the better, and best in the mean for one who says what he believes.

References
----------
Gneiting and Raftery 2007, Strictly Proper Scoring Rules, Prediction, and Estimation, J. Am. Stat. Assoc. 102.
"""

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

Floats = npt.NDArray[np.float64]


def crps_normal(observed: npt.ArrayLike, *, mean: npt.ArrayLike, sd: npt.ArrayLike) -> Floats:
    """
    Continuous ranked probability score of a normal forecast.

    Parameters
    ----------
    observed, mean, sd : array
        Outcome, and mean and standard deviation of the forecast, same unit; sd above 0.

    Returns
    -------
    array
        sd (z (2 Phi(z) - 1) + 2 phi(z) - 1 / sqrt pi) with z = (observed - mean) / sd, in the same unit.
    """
    sd = np.asarray(sd, dtype=float)
    z = (np.asarray(observed) - np.asarray(mean)) / sd
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray(sd * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / np.sqrt(np.pi)))


def crps_sample(observed: npt.ArrayLike, sample: npt.ArrayLike) -> Floats:
    """
    Continuous ranked probability score of a forecast given as equally likely values.

    Parameters
    ----------
    observed : array of shape (n,)
        Outcomes.
    sample : array of shape (n, n_values)
        Values of each forecast; taken as quantiles at even levels, they score a quantile forecast.

    Returns
    -------
    array of shape (n,)
        mean |X - y| - mean |X - X'| / 2, in the unit of the outcomes.
    """
    values = np.sort(np.asarray(sample, dtype=float), axis=-1)
    count = values.shape[-1]
    weight = 2 * np.arange(1, count + 1) - count - 1
    apart = (weight * values).sum(axis=-1) / count**2  # half the mean distance between two values
    return np.asarray(np.abs(values - np.asarray(observed)[..., None]).mean(axis=-1) - apart)


def interval_score(
    observed: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike, *, coverage: float = 0.8
) -> Floats:
    """
    Score of a central interval: its width, and a fine for each unit by which it misses.

    Parameters
    ----------
    observed, low, high : array
        Outcome and ends of the interval, same unit.
    coverage : float
        Nominal coverage, 1 - alpha.

    Returns
    -------
    array
        (high - low) + 2 / alpha (low - y) where y is below, + 2 / alpha (y - high) where it is above.
    """
    y, low, high = (np.asarray(value, dtype=float) for value in (observed, low, high))
    missed = np.maximum(low - y, 0) + np.maximum(y - high, 0)
    return np.asarray(high - low + 2 / (1 - coverage) * missed)


def pinball(observed: npt.ArrayLike, quantile: npt.ArrayLike, *, level: float) -> Floats:
    """
    Score of one quantile.

    Parameters
    ----------
    observed, quantile : array
        Outcome and forecast quantile, same unit.
    level : float
        Its level, between 0 and 1.

    Returns
    -------
    array
        level (y - q) where y is above, (1 - level) (q - y) where it is below.
    """
    over = np.asarray(observed, dtype=float) - np.asarray(quantile)
    return np.asarray(np.maximum(level * over, (level - 1) * over))


def coverage(observed: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike) -> float:
    """
    Share of outcomes inside their intervals, ends included.

    Parameters
    ----------
    observed, low, high : array
        Outcome and ends of the interval, same unit.

    Returns
    -------
    float
        Between 0 and 1.
    """
    y = np.asarray(observed)
    return float(np.mean((y >= np.asarray(low)) & (y <= np.asarray(high))))


def pit_shares(pit: npt.ArrayLike, *, bins: int = 10) -> tuple[float, ...]:
    """
    Histogram of the forecast's own probability of what came out: even where the forecast is calibrated.

    Parameters
    ----------
    pit : array
        F(outcome) of each forecast, between 0 and 1.
    bins : int
        Number of equal bins.

    Returns
    -------
    tuple of float
        Share of outcomes in each bin, summing to 1.
    """
    counts, _ = np.histogram(np.asarray(pit), bins=bins, range=(0.0, 1.0))
    return tuple(float(share) for share in counts / counts.sum())


def wilson(events: int, trials: int) -> tuple[float, float]:
    """
    80 % interval of a share by Wilson's score, which holds where nothing or everything happened too.

    Parameters
    ----------
    events, trials : int
        How often it happened, of how many, 1 or more.

    Returns
    -------
    tuple of float
        Low and high, from 0 to 1.

    References
    ----------
    E. B. Wilson, J. Am. Stat. Assoc. 22, 1927, 209-212 (recalled).
    """
    z2, share = float(ndtri(0.9)) ** 2, events / trials
    middle = (share + z2 / (2 * trials)) / (1 + z2 / trials)
    half = np.sqrt(z2 * (share * (1 - share) + z2 / (4 * trials)) / trials) / (1 + z2 / trials)
    return max(float(middle - half), 0.0), min(float(middle + half), 1.0)
