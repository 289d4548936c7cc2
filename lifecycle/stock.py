"""How many are wanted at once: quantiles of a count whose mean moves with the fleet, and Poisson stock formulas."""

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, pdtr
from scipy.stats import poisson

Floats = npt.NDArray[np.float64]

# With nearly all the variance of a Poisson the binomial is one, and its number of trials would overflow.
POISSON_FROM_RATIO: Final = 1.0 - 1e-6


def count_cdf(count: npt.ArrayLike, mean: npt.ArrayLike, variance: npt.ArrayLike) -> Floats:
    """
    Chance of at most so many, for a sum of many yes-or-no events with this mean and variance.

    Parameters
    ----------
    count : array of whole numbers, any shape that broadcasts
        How many.
    mean, variance : array
        Moments of the sum; the variance of such a sum is at most its mean.

    Returns
    -------
    array
        Probability, by the binomial with the same two moments (real trials, incomplete beta function); Poisson
        where the two moments agree.

    Notes
    -----
    Wear-driven demand is under-dispersed: a Poisson would ask for too much stock, a negative binomial for more still.
    """
    k, m, v = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in (count, mean, variance)))
    ratio = np.divide(v, m, out=np.ones_like(m), where=m > 0)
    trials = m / np.maximum(1.0 - ratio, 1e-12)
    beta = betainc(np.maximum(trials - k, 1e-9), np.maximum(k, 0) + 1.0, np.clip(ratio, 0.0, 1.0))
    exact = np.where(ratio >= POISSON_FROM_RATIO, pdtr(np.maximum(k, 0), m), np.where(k >= trials, 1.0, beta))
    return np.where(k < 0, 0.0, np.where(m <= 0, 1.0, exact))


def mixed_quantile(level: float, means: Floats, variances: Floats) -> Floats:
    """
    Smallest count whose chance, averaged over what moves the whole fleet, is at least `level`.

    Parameters
    ----------
    level : float
        Probability, above 0 and below 1.
    means, variances : array of shape (n_cells, n_states)
        Moments of the count under each equally likely state of the common factors.

    Returns
    -------
    array of shape (n_cells,)
        Whole numbers.
    """
    top = means.max(axis=1)
    low = np.full(len(means), -1.0)
    high = np.ceil(top + 12 * np.sqrt(top + 1) + 12)
    while np.any(high - low > 1):
        middle = np.floor((low + high) / 2)
        reached = count_cdf(middle[:, None], means, variances).mean(axis=1) >= level
        high, low = np.where(reached, middle, high), np.where(reached, low, middle)
    return np.asarray(high)


def expected_backorders(stock: npt.ArrayLike, mean: float) -> Floats:
    """
    Mean number waiting when `stock` are kept and the number in the pipeline is Poisson.

    Parameters
    ----------
    stock : array of whole numbers
        Base stock, serviceable and in the pipeline together.
    mean : float
        Mean number in the pipeline: demand a day times days to replace.

    Returns
    -------
    array, shape of stock
        E[(X - stock)+] = m P(X >= s) - s P(X > s), X ~ Poisson(m).

    References
    ----------
    Sherbrooke 2004, Optimal Inventory Modeling of Systems, ch. 2 (recalled).
    """
    s = np.asarray(stock, dtype=float)
    return np.asarray(mean * poisson.sf(s - 1, mean) - s * poisson.sf(s, mean))


def fill_rate(stock: npt.ArrayLike, mean: float) -> Floats:
    """
    Share of demands met at once from the shelf: P(X < stock), X ~ Poisson(mean in the pipeline).

    Parameters
    ----------
    stock : array of whole numbers
        Base stock.
    mean : float
        Mean number in the pipeline.

    Returns
    -------
    array, shape of stock
        Probability.
    """
    return np.asarray(poisson.cdf(np.asarray(stock) - 1, mean))


def ready_rate(stock: npt.ArrayLike, mean: float) -> Floats:
    """
    Chance that nothing is waiting: P(X <= stock), X ~ Poisson(mean in the pipeline).

    Parameters
    ----------
    stock : array of whole numbers
        Base stock.
    mean : float
        Mean number in the pipeline.

    Returns
    -------
    array, shape of stock
        Probability.
    """
    return np.asarray(poisson.cdf(np.asarray(stock), mean))


def stock_for(level: float, mean: float) -> int:
    """
    Smallest stock that covers Poisson demand with a chance of at least `level`.

    Parameters
    ----------
    level : float
        Probability, above 0 and below 1.
    mean : float
        Mean demand.

    Returns
    -------
    int
        Brakes.
    """
    return int(poisson.ppf(level, mean))
