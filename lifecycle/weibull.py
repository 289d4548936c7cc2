"""Weibull lives with censoring, for removals that wear does not explain, and the age replacement that follows."""

from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt
from scipy.optimize import fmin, minimize_scalar
from scipy.special import gamma, gammainc
from scipy.stats import CensoredData, weibull_min

from lifecycle.errors import NotEnoughDataError


@dataclass(frozen=True)
class WeibullLife:
    """
    Lives with survival exp(-(x / scale) ** shape), x in the unit of the lives fitted.

    ``log_likelihood`` is that of the fit; ``failures`` and ``censored`` count the lives it stands on.
    """

    shape: float
    scale: float
    log_likelihood: float
    failures: int
    censored: int

    def survival(self, life: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """
        Chance to last longer than a life.

        Parameters
        ----------
        life : array
            Lives, 0 or more.

        Returns
        -------
        array, same shape
            Probability.
        """
        return np.asarray(np.exp(-((np.asarray(life) / self.scale) ** self.shape)))


@dataclass(frozen=True)
class AgeReplacement:
    """Age of planned replacement with the least cost a unit of life, that cost, and the cost without replacement."""

    age: float
    cost_rate: float
    run_to_failure_cost_rate: float


def fit_weibull(lives: npt.ArrayLike, failed: npt.ArrayLike) -> WeibullLife:
    """
    Fit a Weibull distribution to lives of which some are censored, by maximum likelihood.

    Parameters
    ----------
    lives : array of shape (n,)
        Lives, above 0; braked landings of a run, for removals.
    failed : array of bool, shape (n,)
        Whether the life ended by the cause in question; the others are right-censored (cause-specific lives).

    Returns
    -------
    WeibullLife
        Shape and scale with the log-likelihood reached.

    Raises
    ------
    NotEnoughDataError
        If fewer than two different lives ended by the cause: the shape has no estimate then.
    """
    lives, failed = np.asarray(lives, dtype=float), np.asarray(failed, dtype=bool)
    if np.unique(lives[failed]).size < 2:
        found = np.unique(lives[failed]).size
        raise NotEnoughDataError(f"a Weibull fit found {found} different ended lives; at least 2 are wanted")
    # In units of the mean life the optimiser's steps fit whatever unit the lives came in; its own stop is too early.
    unit = float(lives.mean())
    data = CensoredData.right_censored(lives / unit, ~failed)
    tight = partial(fmin, xtol=1e-9, ftol=1e-12)
    fitted = weibull_min.fit(data, floc=0, optimizer=tight)  # type: ignore[arg-type]  # stubs want a tuple back
    shape, _, scale = (float(value) for value in fitted)
    ended = weibull_min.logpdf(lives[failed], shape, scale=scale * unit).sum()
    lasting = weibull_min.logsf(lives[~failed], shape, scale=scale * unit).sum()
    return WeibullLife(shape, scale * unit, float(ended + lasting), int(failed.sum()), int((~failed).sum()))


def age_replacement(life: WeibullLife, *, planned_cost: float, failure_cost: float) -> AgeReplacement:
    """
    Age at which to replace so that the long-run cost a unit of life is least.

    Parameters
    ----------
    life : WeibullLife
        Life without replacement.
    planned_cost, failure_cost : float
        Cost of a planned replacement and of one after failure, same currency.

    Returns
    -------
    AgeReplacement
        Infinite age where running to failure is cheapest (shape 1 or less, or failure no dearer).

    Notes
    -----
    Minimises (c_p R(t) + c_f F(t)) / integral of R over 0..t, the integral in closed form:
    (scale / shape) Gamma(1 / shape) P(1 / shape, (t / scale) ** shape).

    References
    ----------
    Barlow and Proschan 1965, Mathematical Theory of Reliability, age replacement (recalled).
    """
    mean = life.scale / life.shape * gamma(1 / life.shape)

    def cost_rate(age: float) -> float:
        fails = 1 - float(life.survival(age))
        lasts = mean * gammainc(1 / life.shape, (age / life.scale) ** life.shape)
        return float((planned_cost + (failure_cost - planned_cost) * fails) / lasts)

    never = float(failure_cost / mean)
    best = minimize_scalar(
        cost_rate, bounds=(1e-3 * life.scale, 5 * life.scale), method="bounded", options={"xatol": 1e-7}
    )
    if best.fun >= never * (1 - 1e-9):
        return AgeReplacement(float("inf"), never, never)
    return AgeReplacement(float(best.x), float(best.fun), never)
