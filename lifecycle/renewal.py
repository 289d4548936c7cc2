"""What follows a change-out: the brake put on wears out in its turn, and the next, counted by month."""

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# A change-out falls anywhere in its month; eight Gauss-Legendre points average the life law over that month.
NODES, WEIGHTS = np.polynomial.legendre.leggauss(8)
WITHIN: Final = (NODES + 1) / 2


def month_masses(life_cdf: Callable[[Floats], Floats], months: int) -> Floats:
    """
    Chance that a life which began somewhere in month 0 ends in month k.

    Parameters
    ----------
    life_cdf : callable
        Takes an array of shape (1, months, 8) of ages, months; returns the chance to have ended by then, any
        leading shape (n_laws, months, 8).
    months : int
        How many months.

    Returns
    -------
    array of shape (n_laws, months)
        h(0) = H(0), h(k) = H(k) - H(k - 1), with H(k) the mean of the life law over k..k + 1.

    Notes
    -----
    The start is spread evenly over its month. Taking it at the month's beginning loses half a month a life, which is
    6 % of the demand at ten months a life.
    """
    ages = np.arange(months)[None, :, None] + WITHIN
    mean = (life_cdf(ages) * WEIGHTS).sum(axis=-1) / 2
    return np.diff(mean, axis=-1, prepend=0.0)


def renewal_masses(life: Floats) -> Floats:
    """
    Expected renewals by month after a first one in month 0, itself included.

    Parameters
    ----------
    life : array of shape (n_laws, months)
        h, as `month_masses` gives it.

    Returns
    -------
    array of shape (n_laws, months)
        u with u = delta + h * u (discrete convolution).

    References
    ----------
    Feller 1968, An Introduction to Probability Theory I, XIII.10 (recalled).
    """
    renewals = np.zeros_like(life)
    once = 1.0 / (1.0 - life[:, 0])
    renewals[:, 0] = once
    for month in range(1, life.shape[1]):
        renewals[:, month] = once * np.einsum("ij,ij->i", life[:, month:0:-1], renewals[:, :month])
    return renewals


def follow(first: Floats, renewals: Floats) -> Floats:
    """
    First change-outs and all that follow them.

    Parameters
    ----------
    first : array of shape (n_positions, months)
        Chance that the first change-out of a position falls in each month.
    renewals : array of shape (months,)
        u of the brakes that follow.

    Returns
    -------
    array of shape (n_positions, months)
        Expected change-outs by month.
    """
    months = first.shape[1]
    lag = np.subtract.outer(np.arange(months), np.arange(months))
    spread = np.where(lag >= 0, renewals[np.maximum(lag, 0)], 0.0)
    return np.asarray(first @ spread.T)
