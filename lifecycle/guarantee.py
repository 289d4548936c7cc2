"""What a guaranteed cost per landing is worth: the refund expected, its chance, and the refund in a bad case."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from lifecycle.errors import BadAssumptionError


@dataclass(frozen=True)
class Refund:
    """Refund under a guarantee, in the currency of the cost; P90 is exceeded with a chance of 1 in 10."""

    guaranteed_cost: float
    guaranteed_landings: float
    refund_expected: float
    refund_chance: float
    refund_p90: float


def refund(*, guaranteed_cost: float, landings: float, log_mean: float, log_sd: float) -> Refund:
    """
    Refund where each landing above a guaranteed cost is paid back.

    Parameters
    ----------
    guaranteed_cost : float
        Guaranteed cost per landing (g), above 0.
    landings : float
        Landings under the guarantee.
    log_mean, log_sd : float
        Of log(cost per landing / guaranteed cost): a and b; b above 0.

    Returns
    -------
    Refund
        Expected refund, chance that there is one, P90.

    Raises
    ------
    BadAssumptionError
        If a cost, landings or the spread is not above 0.

    Notes
    -----
    With M = g exp(a + b^2 / 2) and d1 = (ln(M / g) + b^2 / 2) / b the expected refund is
    landings (M Phi(d1) - g Phi(d1 - b)), the mean of a lognormal above g: never the refund at the mean cost, which
    is nothing where the mean meets the guarantee.
    """
    given = {"guaranteed cost": guaranteed_cost, "landings": landings, "spread of the cost": log_sd}
    for name, value in given.items():
        if not value > 0:
            raise BadAssumptionError(f"{name} is {value:g}; a number above 0 is wanted")
    mean = guaranteed_cost * np.exp(log_mean + log_sd**2 / 2)
    d1 = (np.log(mean / guaranteed_cost) + log_sd**2 / 2) / log_sd
    bad = guaranteed_cost * np.expm1(log_mean + log_sd * ndtri(0.9))
    return Refund(
        guaranteed_cost=guaranteed_cost,
        guaranteed_landings=landings,
        refund_expected=float(landings * (mean * ndtr(d1) - guaranteed_cost * ndtr(d1 - log_sd))),
        refund_chance=float(ndtr(log_mean / log_sd)),
        refund_p90=float(landings * max(bad, 0.0)),
    )


def refund_of_cost(low: float, high: float, *, guaranteed_cost: float, landings: float) -> Refund:
    """
    As `refund`, of a cost per landing told by its range.

    Parameters
    ----------
    low, high : float
        P10 and P90 of the cost per landing, taken for those of a lognormal.
    guaranteed_cost, landings : float
        As in `refund`.

    Returns
    -------
    Refund
        See there.

    Raises
    ------
    BadAssumptionError
        If a figure is not above 0, or the range has no width.
    """
    if not (low > 0 and guaranteed_cost > 0):
        raise BadAssumptionError(
            f"cost per landing is {low:g} at the least, {guaranteed_cost:g} guaranteed; above 0 is wanted"
        )
    return refund(
        guaranteed_cost=guaranteed_cost,
        landings=landings,
        log_mean=float(np.log(low * high) / 2 - np.log(guaranteed_cost)),
        log_sd=float(np.log(high / low) / (2 * ndtri(0.9))),
    )
