"""Readings that the model cannot explain: kept out of the rate, kept in view."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.pathfilter import Bools, Floats, Readings
from lifecycle.posterior import innovations
from lifecycle.wear_fit import WearFit

Indices = npt.NDArray[np.int64]

GATE: Final = 4.0
MOST_IN_A_RUN: Final = 20


@dataclass(frozen=True)
class Gated:
    """
    Readings with the unexplained ones taken out.

    Attributes
    ----------
    readings : Readings
        ``valid`` is False at a gated reading; ``restart`` True where a second one in a row reopens the run.
    gated : array of bool, shape (n_readings, n_runs)
        Readings kept out.
    reopened : array of bool, shape (n_readings, n_runs)
        Readings from which the level of wear is taken anew.
    away : array of shape (n_readings, n_runs)
        Standardised innovation of every reading when it was judged.
    """

    readings: Readings
    gated: Bools
    reopened: Bools
    away: Floats


def gate(fit: WearFit, readings: Readings, z: Floats, *, limit: float = GATE) -> Gated:
    """
    Take readings further than `limit` standard deviations from their forecast out of the rate.

    Parameters
    ----------
    fit : WearFit
        What is believed of the brake type so far.
    readings : Readings
        All usable readings.
    z : array of shape (n_runs, n_columns)
        Covariates of the rate.
    limit : float
        Standard deviations.

    Returns
    -------
    Gated
        In each run the first offender is judged alone and the rest again without it, since one slip throws the
        forecasts after it. Two offenders in a row on the same side are no slip: the second sets the level anew.
    """
    count = readings.unknown.size
    gated, reopened = np.zeros_like(readings.valid), np.zeros_like(readings.valid)
    away = np.full(readings.valid.shape, np.nan)
    open_runs = np.arange(count)
    for _ in range(MOST_IN_A_RUN):
        some = rejudged(readings, gated, reopened)
        some = some.take(open_runs) if open_runs.size < count else some
        found = innovations(fit, some, z[open_runs])
        keep = ~gated[:, open_runs]
        away[:, open_runs] = np.where(keep & ~reopened[:, open_runs], found, away[:, open_runs])
        far = np.abs(found) > limit
        hit = far.any(axis=0)
        if not hit.any():
            break
        first = far[:, hit].argmax(axis=0)
        open_runs = open_runs[hit]
        again = _second_in_a_row(readings.valid, gated, away, first, open_runs)
        reopened[first[again], open_runs[again]] = True
        gated[first[~again], open_runs[~again]] = True
    return Gated(rejudged(readings, gated, reopened), gated, reopened, away)


def rejudged(readings: Readings, gated: Bools, reopened: Bools) -> Readings:
    """The readings without those gated, levels taken anew where reopened; both of shape (n_readings, n_runs)."""
    if not (gated.any() or reopened.any()):
        return readings
    return replace(readings.without(gated), restart=(readings.restart | reopened) & ~gated)


def _second_in_a_row(valid: Bools, gated: Bools, away: Floats, first: Indices, runs: Indices) -> Bools:
    """Whether the reading before the first offender of each run was gated too, on the same side."""
    order = np.arange(valid.shape[0])[:, None]
    before = np.where(valid[:, runs] & (order < first), order, -1).max(axis=0)
    same_side = np.sign(away[before, runs]) == np.sign(away[first, runs])
    return np.asarray((before >= 0) & gated[before, runs] & same_side)
