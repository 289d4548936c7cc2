"""Readings that stand out in a small type, judged by the other runs: an odd run must not set its own measure."""

from dataclasses import replace
from typing import Final

import numpy as np

from lifecycle.outliers import Gated, gate, rejudged
from lifecycle.pathfilter import Floats, Readings
from lifecycle.wear_fit import WearFit, fit_readings
from lifecycle.wear_prior import WearPrior

# Above so many runs one of them cannot widen the spread between runs enough to hide in it.
FEW_ENOUGH: Final = 60
# Standard deviations from which a reading is worth a fit of its own.
ODD: Final = 3.0


def judge_by_the_others(  # noqa: PLR0913 (what is judged, and what the fit was made with)
    judged: Gated, readings: Readings, z: Floats, *, fit: WearFit, prior: WearPrior, floor_mm: float
) -> Gated:
    """
    Judge each run that has a reading standing out by a fit to the others alone.

    Parameters
    ----------
    judged : Gated
        Of all readings by `fit`.
    readings : Readings
        All usable readings of n_runs runs.
    z : array of shape (n_runs, n_columns)
        Covariates of the rate.
    fit : WearFit
        Of the readings that passed, that run's among them.
    prior : WearPrior
        The beliefs of that fit.
    floor_mm : float
        Least standard deviation of a reading, mm.

    Returns
    -------
    Gated
        The same with more readings out, where the other runs leave no room for them.

    Notes
    -----
    A run with one reading far off widens the spread between runs and so its own gate. Deleting the run before judging
    it is the externally studentised residual of regression.

    References
    ----------
    R. D. Cook, S. Weisberg, Residuals and Influence in Regression, 1982, section 2.2.1.
    """
    told = (judged.readings.valid & ~judged.readings.restart).any(axis=0)
    if not 2 < np.count_nonzero(told) <= FEW_ENOUGH:
        return judged
    far = np.abs(np.where(judged.readings.valid, judged.away, 0.0)).max(axis=0, initial=0.0)
    gated, reopened, unworn = judged.gated.copy(), judged.reopened.copy(), judged.unworn_mm.copy()
    for run in np.flatnonzero(told & (far > ODD)):
        others = np.flatnonzero(told & (np.arange(told.size) != run))
        without = fit_readings(
            judged.readings.take(others),
            z[others],
            prior=prior,
            measurement_floor_mm=floor_mm,
            near=fit,
            same_path=True,  # one run tells little of it, and the search for it is what costs time
        )
        alone = gate(without, readings.take(np.array([run])), z[[run]])
        gated[:, run], reopened[:, run] = alone.gated[:, 0], alone.reopened[:, 0]
        unworn[:, run] = alone.unworn_mm[:, 0]
    kept = rejudged(readings, gated, reopened)
    return replace(judged, readings=kept, gated=gated, reopened=reopened, unworn_mm=unworn)
