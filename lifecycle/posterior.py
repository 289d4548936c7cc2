"""What the readings of one run say about its rate and its wear now, given the fit of its brake type."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from lifecycle.bends import BendSums, filter_bends
from lifecycle.pathfilter import Floats, PathSums, Readings, Steps, arrange, filter_path, filter_steps
from lifecycle.reml import Spread, solve_run
from lifecycle.wear_fit import WearFit, with_free_level


@dataclass(frozen=True)
class RunPosterior:
    """
    State of each run after its last reading, parameter uncertainty included.

    Attributes
    ----------
    rate, rate_var : array of shape (n_runs,)
        Wear rate, mm/landing, and its variance; the type's where there is no reading.
    wear_mm, wear_var : array of shape (n_runs,)
        Wear at the last reading, mm, and its variance; NaN where neither start nor reading is known.
    last_landings : array of shape (n_runs,)
        Braked landings at the last reading, 0 where there is none.
    readings : array of int, shape (n_runs,)
        Readings used.
    gap, filter_p : array of shape (n_runs,)
        So that wear n landings after the last reading, were the path smooth, has variance
        measurement_sd^2 filter_p + (gap + n)^2 rate_var; landings, and no unit.
    """

    rate: Floats
    rate_var: Floats
    wear_mm: Floats
    wear_var: Floats
    last_landings: Floats
    readings: npt.NDArray[np.int64]
    gap: Floats
    filter_p: Floats


def posterior(  # noqa: PLR0913 (each says one thing about the readings)
    fit: WearFit,
    landings: npt.ArrayLike,
    wear_mm: npt.ArrayLike,
    *,
    design: npt.ArrayLike,
    design_now: npt.ArrayLike | None = None,
    known_start: npt.ArrayLike = True,
    copies: npt.ArrayLike = 1.0,
    restart: npt.ArrayLike = False,
) -> RunPosterior:
    """
    Rate and wear of runs, whether they were in the fit or not.

    Parameters
    ----------
    fit : WearFit
        Fit of their brake type.
    landings, wear_mm, design, known_start, copies, restart
        As in `fit_wear`.
    design_now : array of shape (n_runs, n_columns), optional
        Covariates of the landings to come, where they differ (a brake moved to another base).

    Returns
    -------
    RunPosterior
        One entry a run.

    Raises
    ------
    BadRecordsError
        If shapes do not fit, or landings fall along a run.

    Notes
    -----
    With A, t the filter's information and score of (start, rate), b ~ N(X beta, D0): mean X beta + D0 (I + A D0)^-1
    (t - A X beta), covariance sigma^2 D0 (I + A D0)^-1 + J Cov(beta) J', J the slope of the mean in beta.
    Wear now is hw + start (1 - h1) + rate (x - hx), with sigma^2 P added to its variance.
    """
    readings = arrange(landings, wear_mm, known_start=known_start, copies=copies, restart=restart)
    z = np.atleast_2d(np.asarray(design, dtype=np.float64))
    z_now = z if design_now is None else np.atleast_2d(np.asarray(design_now, dtype=np.float64))
    return of_readings(fit, readings, z, z_now)


def of_readings(fit: WearFit, readings: Readings, z: Floats, z_now: Floats) -> RunPosterior:
    """As `posterior`, of readings arranged already."""
    unread = ~readings.valid.any(axis=0)
    lost = unread & (readings.unknown > 0) & (not fit.has_start)
    bent = readings if fit.has_start else with_free_level(readings)
    free = bent.straight(fit.rate)
    sums, spread, u = filter_path(free, fit.path_ratio), fit.spread, free.unknown
    shift1, shiftx = _deviation(sums, spread, u * fit.start_mm, z @ fit.rate)
    start, past = u * fit.start_mm + shift1, z @ fit.rate + shiftx
    rate = past + (z_now - z) @ fit.rate
    last = free.landings[-1] if free.landings.shape[0] else np.zeros_like(u)
    gap1, gap = u - sums.h1, last - sums.hx
    d11, d12, d22 = _covariance(sums, spread)
    to_start, to_past = _slope_in_coefficients(sums, spread, u, z)
    to_now = to_past.copy()
    to_now[:, 1:] += z_now - z
    to_wear = gap1[:, None] * to_start + gap[:, None] * to_past
    level = np.zeros_like(u)
    if bent.bent_columns:
        # Bends turn the coefficients' doubt: what they explain of the readings is no longer the run's own.
        bends, at = filter_bends(bent, fit.path_ratio), _last(bent)
        places = [1 + column for column in bent.bent_columns]
        to_start, to_past = _bent_slope(sums, spread, bends)
        to_now[:, places] -= to_past
        to_wear[:, places] += (at - bends.h).T - gap1[:, None] * to_start - gap[:, None] * to_past
        level = fit.rate[list(bent.bent_columns)] @ at
    sigma2, c = fit.measurement_sd**2, fit.covariance
    rate_var = sigma2 * d22 + np.sum((to_now @ c) * to_now, axis=1)
    own = sums.p + gap1 * gap1 * d11 + 2 * gap1 * gap * d12 + gap * gap * d22
    wear_var = sigma2 * own + np.sum((to_wear @ c) * to_wear, axis=1)
    both = sigma2 * (gap1 * d12 + gap * d22) + np.sum((to_wear @ c) * to_now, axis=1)
    lag = np.divide(both, rate_var, out=np.zeros_like(both), where=rate_var > 0)
    return RunPosterior(
        rate=rate,
        rate_var=rate_var,
        wear_mm=np.where(lost, np.nan, sums.hw + level + gap1 * start + gap * past),
        wear_var=np.where(lost, np.nan, wear_var),
        last_landings=last,
        readings=np.count_nonzero(readings.valid, axis=0).astype(np.int64),
        gap=lag,
        filter_p=np.maximum(wear_var - lag * lag * rate_var, 0.0) / sigma2,
    )


def _last(readings: Readings) -> Floats:
    """Bends at the last valid reading of each run, (n_bends, n_runs); 0 where there is none."""
    runs = np.arange(readings.unknown.size)
    last = readings.valid.shape[0] - 1 - readings.valid[::-1].argmax(axis=0)
    return np.asarray(np.where(readings.valid.any(axis=0), readings.bent[:, last, runs], 0.0))


def _bent_slope(sums: PathSums, spread: Spread, bends: BendSums) -> tuple[Floats, Floats]:
    """How posterior start and rate fall with the coefficients of the bends: spread (I + A spread)^-1 M, transposed."""
    b1, bx = solve_run(sums, spread, bends.m1, bends.mx)
    start, rate = spread.start * b1 + spread.both * bx, spread.both * b1 + spread.rate * bx
    return start.T, rate.T


def widened(state: RunPosterior, extra_var: Floats, *, measurement_sd: float) -> RunPosterior:
    """
    Posterior with more doubt about the rate.

    Parameters
    ----------
    state : RunPosterior
        Of n_runs runs.
    extra_var : array of shape (n_runs,)
        Added to the variance of the rate, (mm/landing)^2.
    measurement_sd : float
        Of the type's fit, mm.

    Returns
    -------
    RunPosterior
        Rate, wear, its variance and their covariance stand as they are.
    """
    if not extra_var.any():
        return state
    rate_var = state.rate_var + extra_var
    share = np.divide(state.rate_var, rate_var, out=np.ones_like(rate_var), where=extra_var > 0)
    gap = state.gap * share
    filter_p = np.maximum(state.wear_var - gap**2 * rate_var, 0.0) / measurement_sd**2
    filter_p = np.where(extra_var > 0, filter_p, state.filter_p)
    return replace(state, rate_var=rate_var, gap=gap, filter_p=filter_p)


def innovations(fit: WearFit, readings: Readings, z: Floats) -> Floats:
    """
    How far each reading stands from what the readings before it foretold.

    Parameters
    ----------
    fit : WearFit
        Fit of the brake type.
    readings : Readings
        From `arrange`.
    z : array of shape (n_runs, n_columns)
        Covariates of the rate.

    Returns
    -------
    array of shape (n_readings, n_runs)
        Standardised one-step innovations, standard normal under the model; NaN where there is no reading or it only
        sets a level.
    """
    free = (readings if fit.has_start else with_free_level(readings)).straight(fit.rate)
    steps = filter_steps(free, fit.path_ratio)
    before = _sums_before(steps)
    shift1, shiftx = _deviation(before, fit.spread, free.unknown * fit.start_mm, z @ fit.rate)
    start, rate = free.unknown * fit.start_mm + shift1, z @ fit.rate + shiftx
    d11, d12, d22 = _covariance(before, fit.spread)
    variance = steps.f + steps.e1**2 * d11 + 2 * steps.e1 * steps.ex * d12 + steps.ex**2 * d22
    counted = np.isfinite(steps.f)
    away = (steps.ew - steps.e1 * start - steps.ex * rate) / (fit.measurement_sd * np.sqrt(variance))
    return np.where(counted, away, np.nan)


def _sums_before(steps: Steps) -> PathSums:
    """Sums over the readings before each, arrays of shape (n_readings, n_runs)."""

    def before(product: Floats) -> Floats:
        weighed = product / steps.f
        return np.cumsum(weighed, axis=0) - weighed

    none = np.zeros(())
    return PathSums(
        s11=before(steps.e1 * steps.e1),
        s1x=before(steps.e1 * steps.ex),
        sxx=before(steps.ex * steps.ex),
        t1=before(steps.e1 * steps.ew),
        tx=before(steps.ex * steps.ew),
        q=none,
        logf=none,
        h1=none,
        hx=none,
        hw=none,
        p=none,
    )


def _deviation(sums: PathSums, spread: Spread, start: Floats, rate: Floats) -> tuple[Floats, Floats]:
    """Posterior deviation of start and rate from their means."""
    r1 = sums.t1 - sums.s11 * start - sums.s1x * rate
    rx = sums.tx - sums.s1x * start - sums.sxx * rate
    u1, ux = solve_run(sums, spread, r1, rx)
    return spread.start * u1 + spread.both * ux, spread.both * u1 + spread.rate * ux


def _covariance(sums: PathSums, spread: Spread) -> tuple[Floats, Floats, Floats]:
    """Elements of spread (I + A spread)^-1 without cancellation."""
    det = spread.start * spread.rate - spread.both**2
    trace = sums.s11 * spread.start + 2 * sums.s1x * spread.both + sums.sxx * spread.rate
    d = 1.0 + trace + (sums.s11 * sums.sxx - sums.s1x**2) * det
    return (
        (spread.start + sums.sxx * det) / d,
        (spread.both - sums.s1x * det) / d,
        (spread.rate + sums.s11 * det) / d,
    )


def _slope_in_coefficients(
    sums: PathSums, spread: Spread, unknown: Floats, z: Floats
) -> tuple[Floats, Floats]:
    """Slope of posterior start and rate in the coefficients: rows of (I + spread A)^-1 X, (n_runs, 1 + n_columns)."""
    one, none = np.ones_like(unknown), np.zeros_like(unknown)
    m11, m12 = solve_run(sums, spread, one, none)  # first column of (I + A spread)^-1 is the first row wanted
    m21, m22 = solve_run(sums, spread, none, one)
    start = np.column_stack([unknown * m11, z * m12[:, None]])
    rate = np.column_stack([unknown * m21, z * m22[:, None]])
    return start, rate
