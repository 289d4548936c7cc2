"""Checks "within limit" without a value: all they say is that wear had not passed the limit by then."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import log_ndtr

from lifecycle.pathfilter import Floats
from lifecycle.posterior import RunPosterior
from lifecycle.wear_case import WearCase

ONLY_CHECKED = "within limit only"


@dataclass(frozen=True)
class LimitCheck:
    """Landings at the check and wear at the limit, in the run's wear; (n_runs,), NaN where there is no check."""

    landings: Floats
    wear_mm: Floats


def latest_checks(case: WearCase, readings: pd.DataFrame, state: RunPosterior) -> LimitCheck:
    """
    The last check "within limit" of each run after its last reading.

    Parameters
    ----------
    case : WearCase
        The runs.
    readings : DataFrame
        `Runs.readings`.
    state : RunPosterior
        Of the same runs.

    Returns
    -------
    LimitCheck
        One entry a run.
    """
    count = len(case.runs)
    landings, bound = np.full(count, np.nan), np.full(count, np.nan)
    checked = (readings["why_not"].to_numpy(str) == ONLY_CHECKED) & ~readings["at_or_below"].to_numpy(bool)
    rows = np.flatnonzero(checked)
    place = pd.Series(np.arange(count), index=case.runs.index).reindex(readings["run"].iloc[rows])
    mine = place.notna().to_numpy()
    run, at = place.to_numpy()[mine].astype(np.int64), readings["landings"].to_numpy(float)[rows[mine]]
    later = at > state.last_landings[run]
    # In time order, so the last assignment to a run stands.
    landings[run[later]] = at[later]
    wanted = np.isfinite(landings)
    spread = case.runs["start_mm"].to_numpy(float) - case.runs["limit_mm"].to_numpy(float)
    bound[wanted] = (spread + _stepped(case, readings))[wanted]
    return LimitCheck(landings, bound)


def _stepped(case: WearCase, readings: pd.DataFrame) -> Floats:
    """Sum of the re-shim steps of each run by its last usable reading, mm."""
    valid = case.readings.valid
    if not valid.shape[0]:
        return np.zeros(valid.shape[1])
    runs = np.arange(valid.shape[1])
    last = valid.shape[0] - 1 - valid[::-1].argmax(axis=0)
    left = readings["left_mm"].to_numpy(float)[case.source[last, runs]]
    steps = case.readings.wear_mm[last, runs] + left - case.runs["start_mm"].to_numpy(float)
    return np.where(valid.any(axis=0), steps, 0.0)


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
    ahead = np.where(moved, check.landings - state.last_landings, 0.0)
    reach = state.gap + ahead
    mean = state.wear_mm + ahead * state.rate
    own = measurement_sd**2 * state.filter_p + path_sd**2 * ahead
    variance = np.where(moved, own + reach**2 * state.rate_var, 1.0)
    sd = np.sqrt(variance)
    a = np.where(moved, (check.wear_mm - mean) / sd, 0.0)
    hazard = np.exp(-0.5 * a * a - 0.5 * np.log(2 * np.pi) - log_ndtr(a))
    kept = np.maximum(1.0 - a * hazard - hazard**2, 1e-6)
    slope = reach * state.rate_var / variance
    wear, wear_var = mean - sd * hazard, variance * kept
    rate = state.rate - slope * sd * hazard
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
