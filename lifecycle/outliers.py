"""Readings that the model cannot explain: kept out of the rate, kept in view."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.copied_readings import equal_in_a_row, repeated, unworn_mm
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
        Readings kept out, copied ones among them.
    reopened : array of bool, shape (n_readings, n_runs)
        Readings from which the level of wear is taken anew.
    away : array of shape (n_readings, n_runs)
        Standardised innovation of every reading when it was judged; NaN for a copied one.
    unworn_mm : array of shape (n_readings, n_runs)
        Wear foretold over the stretch of equal readings that each reading is in, its first included, where they were
        copied, mm; NaN elsewhere.
    """

    readings: Readings
    gated: Bools
    reopened: Bools
    away: Floats
    unworn_mm: Floats

    @property
    def copied(self) -> Bools:
        """Readings kept out as copies of the one before."""
        return self.gated & np.isnan(self.away) & np.isfinite(self.unworn_mm)


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
        Copies of a reading (`lifecycle.copied_readings`) go out first, and so reopen nothing.
    """
    unworn, copies = _copies(fit, readings, z, limit)
    if not copies.any():
        return _far_out(fit, readings, z, limit)
    judged = _far_out(fit, readings.without(copies), z, limit)
    return replace(judged, gated=judged.gated | copies, unworn_mm=unworn)


def _copies(fit: WearFit, readings: Readings, z: Floats, limit: float) -> tuple[Floats, Bools]:
    """Wear foretold over each copied stretch, and its readings after the first."""
    unworn, stretch = np.full(readings.valid.shape, np.nan), equal_in_a_row(readings)
    runs = np.flatnonzero(stretch.any(axis=0))
    if runs.size:
        some, asked = readings.take(runs), stretch[:, runs]
        kept = _far_out(fit, some.without(repeated(asked)), z[runs], limit).readings
        unworn[:, runs] = unworn_mm(fit, some, kept, z[runs], stretch=asked, limit=limit)
    return unworn, repeated(stretch) & np.isfinite(unworn)


def _far_out(fit: WearFit, readings: Readings, z: Floats, limit: float) -> Gated:
    """Readings too far from their forecasts."""
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
    none = np.full(readings.valid.shape, np.nan)
    return Gated(rejudged(readings, gated, reopened), gated, reopened, away, none)


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
