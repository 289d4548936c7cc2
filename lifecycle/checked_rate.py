"""Checks "within limit" in the rate of a type: each counts as a reading as vague as what it rules out."""

from dataclasses import replace
from typing import Final

import numpy as np

from lifecycle.bends import filter_bends
from lifecycle.pathfilter import Floats, Readings, filter_path
from lifecycle.posterior import of_readings
from lifecycle.reml import Design, kinds_of, profile
from lifecycle.wear_case import WearCase
from lifecycle.wear_fit import WearFit, with_free_level
from lifecycle.wear_prior import WearPrior
from lifecycle.within_limit import LimitCheck, Passed, latest_checks, passed_check

ROUNDS: Final = 8
SETTLED: Final = 1e-3  # of the standard error of the coefficients
# A check that takes less than this share of the variance away says nothing.
SAYS_NOTHING: Final = 1e-4


def with_checks(fit: WearFit, case: WearCase, readings: Readings, z: Floats, prior: WearPrior) -> WearFit:
    """
    The mean rate, with what checks "within limit" after the last readings say of it.

    Parameters
    ----------
    fit : WearFit
        Of the readings alone.
    case : WearCase
        Its runs.
    readings : Readings
        Of the same runs, those that passed the gate.
    z : array of shape (n_runs, n_columns)
        Covariates of the rate.
    prior : WearPrior
        Of the fit.

    Returns
    -------
    WearFit
        Rate coefficients and their covariance; the variances stay as the readings gave them.

    Notes
    -----
    The likelihood of a check at wear limit c is Phi((c - m)/s), m and s^2 the wear foretold there. It is replaced by
    that of a reading with the mean and variance which turn (m, s^2) into the moments of the normal law cut off at c,
    and the coefficients are found again with those readings, by turns until they stand still. Leaving the checks out
    would keep just those runs short that have come through unread.

    References
    ----------
    T. P. Minka, Expectation propagation for approximate Bayesian inference, 2001, section 3 (one pass of its factors
    a round).
    """
    free = readings if fit.has_start else with_free_level(readings)
    if not np.isfinite(case.check_landings).any():
        return fit
    found = fit
    for _ in range(ROUNDS):
        state = of_readings(found, readings, z, z)
        check = latest_checks(case, state)
        passed = passed_check(state, check, found.path_sd, found.measurement_sd)
        told = _as_readings(free, found.measurement_sd, check, passed)
        if not told.valid[-1].any():
            return fit
        before, found = found, _coefficients(found, told, z, prior)
        moved = np.abs(found.rate - before.rate)
        if np.all(moved <= SETTLED * np.sqrt(np.diag(found.covariance)[1:]) + 1e-12):
            break
    return found


def _as_readings(readings: Readings, measurement_sd: float, check: LimitCheck, passed: Passed) -> Readings:
    """One more row: the reading that each check amounts to, not valid where it says nothing."""
    says = np.isfinite(passed.mean) & (passed.kept < 1.0 - SAYS_NOTHING)
    left = np.where(says, passed.variance * passed.kept, 1.0)
    noise = np.where(says, left / np.where(says, 1.0 - passed.kept, 1.0), 1.0)
    wear = np.where(says, noise * (passed.after / left - passed.mean / passed.variance), 0.0)
    landings = np.where(says, check.landings, 0.0)
    reached = np.maximum(landings, readings.landings[-1] if readings.landings.shape[0] else 0.0)
    bent = readings.bent
    if readings.bent_columns:
        bent = np.concatenate([bent, bent[:, -1:]], axis=1)
    return replace(
        readings,
        landings=np.vstack([readings.landings, reached]),
        wear_mm=np.vstack([readings.wear_mm, wear]),
        noise=np.vstack([readings.noise, noise / measurement_sd**2]),
        step=np.diff(np.vstack([readings.landings, reached]), axis=0, prepend=0.0),
        valid=np.vstack([readings.valid, says]),
        restart=np.vstack([readings.restart, np.zeros_like(says)]),
        bent=bent,
    )


def _coefficients(fit: WearFit, told: Readings, z: Floats, prior: WearPrior) -> WearFit:
    """Rate coefficients by generalised least squares at the variances of the fit."""
    some = np.flatnonzero((told.valid & ~told.restart).any(axis=0))
    told, kept = told.take(some).bent_by(fit.columns_kept), fit.columns_kept
    degrees = told.degrees
    design = Design(*kinds_of(z[some][:, kept]), told.unknown, fit.has_start, degrees, 0.0, told.bent_columns)
    at = profile(
        filter_path(told, fit.path_ratio),
        design,
        fit.spread,
        path_ratio=fit.path_ratio,
        prior=prior,
        bends=filter_bends(told, fit.path_ratio) if told.bent_columns else None,
    )
    places = np.concatenate([[fit.has_start], kept]).nonzero()[0]
    covariance = np.zeros_like(fit.covariance)
    covariance[np.ix_(places, places)] = fit.measurement_sd**2 * np.linalg.inv(at.information)
    every = np.zeros(1 + kept.size)
    every[places] = at.coefficients
    return replace(fit, rate=every[1:], start_mm=float(every[0]), covariance=covariance)
