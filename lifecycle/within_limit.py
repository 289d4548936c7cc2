"""Checks "within limit" without a value: all they say is that wear had not passed the limit by then."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import log_ndtr

from lifecycle.pathfilter import Floats
from lifecycle.posterior import RunPosterior
from lifecycle.wear_case import WearCase


@dataclass(frozen=True)
class LimitCheck:
    """Landings at the check and wear at the limit, in the run's wear; (n_runs,), NaN where there is no check."""

    landings: Floats
    wear_mm: Floats


def latest_checks(case: WearCase, state: RunPosterior) -> LimitCheck:
    """
    The last check "within limit" of each run after its last reading.

    Parameters
    ----------
    case : WearCase
        The runs.
    state : RunPosterior
        Of the same runs.

    Returns
    -------
    LimitCheck
        One entry a run.
    """
    later = case.check_landings > state.last_landings
    return LimitCheck(
        np.where(later, case.check_landings, np.nan), np.where(later, case.limit_wear_mm, np.nan)
    )


@dataclass(frozen=True)
class Passed:
    """
    Wear at each check, arrays of shape (n_runs,).

    Attributes
    ----------
    mean, variance : array
        As foretold, mm and mm^2; NaN and 1 without a check.
    after, kept : array
        Mean given that the check was passed, and the share of the variance that is left.
    """

    mean: Floats
    variance: Floats
    after: Floats
    kept: Floats


def passed_check(state: RunPosterior, check: LimitCheck, path_sd: float, measurement_sd: float) -> Passed:
    """
    Wear foretold at each check, and what is left of it by the check.

    Parameters
    ----------
    state, check : RunPosterior, LimitCheck
        Of the same runs.
    path_sd, measurement_sd : float
        Of the type's fit, mm per root landing and mm.

    Returns
    -------
    Passed
        One entry a run.
    """
    moved = np.isfinite(check.landings) & np.isfinite(state.wear_mm) & np.isfinite(check.wear_mm)
    ahead = np.where(moved, check.landings - state.last_landings, 0.0)
    mean = np.where(moved, state.wear_mm + ahead * state.rate, np.nan)
    own = measurement_sd**2 * state.filter_p + path_sd**2 * ahead
    variance = np.where(moved, own + (state.gap + ahead) ** 2 * state.rate_var, 1.0)
    sd = np.sqrt(variance)
    a = np.where(moved, (check.wear_mm - mean) / sd, 0.0)
    hazard = np.exp(-0.5 * a * a - 0.5 * np.log(2 * np.pi) - log_ndtr(a))
    kept = np.maximum(1.0 - a * hazard - hazard**2, 1e-6)
    return Passed(mean, variance, mean - sd * hazard, kept)


def learn_from_checks(
    state: RunPosterior, check: LimitCheck, *, path_sd: float, measurement_sd: float
) -> RunPosterior:
    """
    Posterior moved on to the last check, given that wear had not passed the bound there.

    Parameters
    ----------
    state : RunPosterior
        After the last reading with a value.
    check : LimitCheck
        Of the same runs; a run without one is left as it is.
    path_sd, measurement_sd : float
        Of the type's fit.

    Returns
    -------
    RunPosterior
        Mean and variance of the truncated normal law of wear at the check; the rate follows by regression on it.

    Notes
    -----
    With a = (c - m)/s and h = phi(a)/Phi(a): mean m - s h, variance s^2 (1 - a h - h^2). The approximation is that
    the law stays normal.

    References
    ----------
    N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions vol. 1, 1994, section 13.10.1.
    """
    moved = np.isfinite(check.landings) & np.isfinite(state.wear_mm) & np.isfinite(check.wear_mm)
    if not moved.any():
        return state
    passed = passed_check(state, check, path_sd, measurement_sd)
    variance, wear, kept = passed.variance, passed.after, passed.kept
    slope = (
        (state.gap + np.where(moved, check.landings - state.last_landings, 0.0)) * state.rate_var / variance
    )
    wear_var = variance * kept
    rate = state.rate + slope * (wear - passed.mean)
    rate_var = state.rate_var - slope**2 * variance * (1.0 - kept)
    gap = np.divide(slope * wear_var, rate_var, out=np.zeros_like(slope), where=rate_var > 0)
    filter_p = np.maximum(wear_var - gap**2 * rate_var, 0.0) / measurement_sd**2
    return replace(
        state,
        rate=np.where(moved, rate, state.rate),
        rate_var=np.where(moved, rate_var, state.rate_var),
        wear_mm=np.where(moved, wear, state.wear_mm),
        wear_var=np.where(moved, wear_var, state.wear_var),
        last_landings=np.where(moved, check.landings, state.last_landings),
        gap=np.where(moved, gap, state.gap),
        filter_p=np.where(moved, filter_p, state.filter_p),
    )
