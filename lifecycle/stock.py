"""How many are wanted at once: quantiles of a count whose mean moves with the fleet, and what a stock of it covers."""

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, pdtr

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


def expected_backorders(stock: npt.ArrayLike, means: Floats, variances: Floats) -> Floats:
    """
    Mean number waiting when so many are kept, serviceable and being replaced together.

    Parameters
    ----------
    stock : array of whole numbers, shape (n_stocks,)
        Base stock.
    means, variances : array of shape (n_states,)
        Moments of the demand over the time to replace one, under each equally likely state.

    Returns
    -------
    array of shape (n_stocks,)
        E[(X - stock)+] = sum over k from stock on of P(X > k), by `count_cdf`; Poisson where the moments agree.

    References
    ----------
    Sherbrooke 2004, Optimal Inventory Modeling of Systems, ch. 2 (recalled).
    """
    held = np.asarray(stock, dtype=np.int64)
    top = float(np.max(means))
    counts = np.arange(int(top + 14 * np.sqrt(top + 1) + 14 + held.max(initial=0)))
    beyond = 1.0 - count_cdf(counts[:, None], means, variances).mean(axis=1)
    waiting = np.append(np.cumsum(beyond[::-1])[::-1], 0.0)
    return np.asarray(waiting[np.minimum(held, counts.size)])


def fill_rate(stock: npt.ArrayLike, means: Floats, variances: Floats) -> Floats:
    """
    Share of demands met at once from the shelf: P(X < stock), X the demand over the time to replace one.

    Parameters
    ----------
    stock, means, variances
        As in `expected_backorders`.

    Returns
    -------
    array of shape (n_stocks,)
        Probability.
    """
    return ready_rate(np.asarray(stock) - 1, means, variances)


def ready_rate(stock: npt.ArrayLike, means: Floats, variances: Floats) -> Floats:
    """
    Chance that nothing is waiting: P(X <= stock), X the demand over the time to replace one.

    Parameters
    ----------
    stock, means, variances
        As in `expected_backorders`.

    Returns
    -------
    array of shape (n_stocks,)
        Probability.
    """
    return np.asarray(count_cdf(np.atleast_1d(stock)[:, None], means, variances).mean(axis=1))
