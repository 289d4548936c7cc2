"""Doubt of brakes whose shortest pin was left out: how much shorter it was is one error of all such readings."""

from dataclasses import replace

import numpy as np

from lifecycle.pathfilter import Floats, Readings
from lifecycle.posterior import RunPosterior, of_readings
from lifecycle.wear_fit import WearFit


def with_unread_pin(  # noqa: PLR0913, PLR0917 (a posterior, and all that it is made of)
    state: RunPosterior, fit: WearFit, readings: Readings, z: Floats, z_now: Floats, noise: Floats
) -> RunPosterior:
    """
    Posterior with the doubt of what was taken off for pins not read.

    Parameters
    ----------
    state : RunPosterior
        From `posterior.of_readings` of the same fit, readings and covariates.
    fit, readings, z, z_now
        As there; n_runs runs.
    noise : array of shape (n_readings, n_runs)
        Variance of what was taken off over that of one reading, 0 where nothing was (`WearCase.unread_noise`).

    Returns
    -------
    RunPosterior
        Rate and wear stand as they are; variances and their covariance are wider.

    Notes
    -----
    Rate and wear are linear in the readings. Moving all readings of a run that were told from another pin by 1 mm moves
    them by a and b; an error of variance v common to those readings adds v a^2, v b^2 and v a b. As an error of each
    reading by itself it would average out over them, and the fit would take it off the scatter of the type.
    """
    told = readings.valid & (noise > 0)
    some = np.flatnonzero(told.any(axis=0))
    if not some.size:
        return state
    mine = readings.take(some)
    moved = replace(mine, wear_mm=mine.wear_mm + told[:, some])
    still, after = (of_readings(fit, each, z[some], z_now[some]) for each in (mine, moved))
    common = np.max(noise * told, axis=0)[some] * fit.measurement_sd**2
    to_rate, to_wear = after.rate - still.rate, after.wear_mm - still.wear_mm
    rate_var, wear_var, gap, filter_p = (
        part.copy() for part in (state.rate_var, state.wear_var, state.gap, state.filter_p)
    )
    both = gap[some] * rate_var[some] + common * to_rate * to_wear
    rate_var[some] += common * to_rate**2
    wear_var[some] += common * to_wear**2
    gap[some] = np.divide(both, rate_var[some], out=np.zeros(some.size), where=rate_var[some] > 0)
    left = wear_var[some] - gap[some] ** 2 * rate_var[some]
    filter_p[some] = np.maximum(left, 0.0) / fit.measurement_sd**2
    return replace(state, rate_var=rate_var, wear_var=wear_var, gap=gap, filter_p=filter_p)
