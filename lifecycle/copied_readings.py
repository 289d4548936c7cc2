"""Readings written again without a look at the pin: equal ones in a row though wear was foretold between them."""

from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.pathfilter import Bools, Floats, Readings
from lifecycle.posterior import of_readings
from lifecycle.wear_fit import WearFit

Numbers = npt.NDArray[np.int64]

IN_A_ROW: Final = 3
# Lengths of one value differ by the error of floats alone, far below a step of any gauge.
SAME_MM: Final = 1e-6
# The error of a reading is held at or above resolution / sqrt(12): that many errors are a step of the gauge at least.
STEP: Final = np.sqrt(12.0)
# One brake may be read by a coarser gauge than its type: its step is at most the least gap between its readings, and no
# gauge in use is coarser than this (common practice, no source).
COARSEST_MM: Final = 1.0


def equal_in_a_row(readings: Readings) -> Numbers:
    """
    Stretches of three or more equal readings in a row.

    Parameters
    ----------
    readings : Readings
        Of n_runs runs.

    Returns
    -------
    array of int, shape (n_readings, n_runs)
        Number of the stretch within its run, from 1; 0 for a reading in none. A level taken anew begins another.
    """
    valid, (count, runs) = readings.valid, readings.valid.shape
    number = np.zeros((count, runs), dtype=np.int64)
    if count < IN_A_ROW:
        return number
    reached = np.maximum.accumulate(np.where(valid, np.arange(count)[:, None], -1), axis=0)
    before = np.vstack([np.full((1, runs), -1), reached[:-1]])
    moved = np.abs(readings.wear_mm - np.take_along_axis(readings.wear_mm, np.maximum(before, 0), axis=0))
    same = valid & ~readings.restart & (before >= 0) & (moved < SAME_MM)
    some = np.flatnonzero(np.count_nonzero(same, axis=0) >= IN_A_ROW - 1)
    if not some.size:
        return number
    begins = valid[:, some] & ~same[:, some]
    stretch = np.cumsum(begins, axis=0) + (count + 1) * np.arange(some.size)
    sizes = np.bincount(stretch[valid[:, some]], minlength=(count + 1) * some.size)
    many = valid[:, some] & (sizes[stretch] >= IN_A_ROW)
    number[:, some] = np.cumsum(begins & many, axis=0) * many
    return number


def repeated(stretch: Numbers) -> Bools:
    """All but the first reading of each stretch."""
    before = np.vstack([np.zeros((1, stretch.shape[1]), dtype=np.int64), stretch[:-1]])
    return np.asarray((stretch > 0) & (np.maximum.accumulate(before, axis=0) >= stretch))


def unworn_mm(  # noqa: PLR0913 (what is believed, the readings, which of them are asked about)
    fit: WearFit, readings: Readings, kept: Readings, z: Floats, *, stretch: Numbers, limit: float
) -> Floats:
    """
    Wear that was foretold while the readings stood still, where the gauge cannot explain that they did.

    Parameters
    ----------
    fit : WearFit
        What is believed of the brake type.
    readings : Readings
        All usable readings of n_runs runs.
    kept : Readings
        Those in the rate, without `repeated`.
    z : array of shape (n_runs, n_columns)
        Covariates of the rate.
    stretch : array of int, shape (n_readings, n_runs)
        From `equal_in_a_row`.
    limit : float
        Standard deviations.

    Returns
    -------
    array of shape (n_readings, n_runs)
        Wear foretold from the first to the last of its stretch, mm, at each reading of a copied one; NaN elsewhere.

    Notes
    -----
    Over n landings the rate b of the readings up to the first foretells b n, with variance V n^2 + s^2 n and the error
    of both readings. Copied: b n is above `limit` standard deviations and a step of the gauge.
    """
    step = np.maximum(_least_gap(readings), STEP * fit.measurement_sd)
    found, order = np.full(stretch.shape, np.nan), np.arange(stretch.shape[0])[:, None]
    bend = readings.wear_mm - readings.straight(fit.rate).wear_mm
    for number in range(1, int(stretch.max(initial=0)) + 1):
        member = stretch == number
        runs = np.flatnonzero(member.any(axis=0))
        first = member[:, runs].argmax(axis=0)
        last = stretch.shape[0] - 1 - member[::-1, runs].argmax(axis=0)
        state = of_readings(fit, kept.take(runs).without(order > first), z[runs], z[runs])
        flown = readings.landings[last, runs] - readings.landings[first, runs]
        foretold = state.rate * flown + bend[last, runs] - bend[first, runs]
        errors = fit.measurement_sd**2 * (readings.noise[first, runs] + readings.noise[last, runs])
        doubt = np.sqrt(state.rate_var * flown**2 + fit.path_sd**2 * flown + errors)
        copied = foretold > limit * doubt + step[runs]
        found[:, runs] = np.where(member[:, runs] & copied, foretold, found[:, runs])
    return found


def _least_gap(readings: Readings) -> Floats:
    """Least distance between unequal readings of each run, at most that of the coarsest gauge."""
    in_order = np.sort(np.where(readings.valid, readings.wear_mm, np.nan), axis=0)
    gaps = np.diff(in_order, axis=0)
    return np.asarray(np.min(gaps, axis=0, initial=COARSEST_MM, where=gaps > SAME_MM))
