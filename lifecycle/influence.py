"""How much single runs move the wear rate of their type: each left out in turn, in one step."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.curvature import mean_columns
from lifecycle.pathfilter import Floats
from lifecycle.type_model import average_row
from lifecycle.whitened import Whitened

MOST: Final = 5


@dataclass(frozen=True)
class InfluentialRun:
    """One run: the type's rate without it less the rate with it, as a share of the rate."""

    serial: str
    run: int
    readings: int
    change: float


def without_each(told: Whitened) -> Floats:
    """
    Change of the type's rate when one run is left out, for every run.

    Parameters
    ----------
    told : Whitened
        One brake type.

    Returns
    -------
    array of shape (n_runs,)
        Shares of the rate; 0 for a run that tells nothing.

    Notes
    -----
    With the whitened columns Z_i and wear y_i of run i, H = sum Z_i' Z_i + P (P the beliefs) and the fit's own g:
    g without i = (H - Z_i' Z_i)^-1 (H g - Z_i' y_i), exact at the fitted variances, which stay as they are (one step).

    References
    ----------
    Cook and Weisberg 1982, Residuals and Influence in Regression, section 3 (deletion of cases); recalled.
    """
    seen = np.isfinite(told.away)
    width = told.z.shape[1]
    change = np.zeros(told.z.shape[0])
    if not seen.any():
        return change
    run = np.nonzero(seen)[1]
    columns = np.column_stack(mean_columns(told, seen)[:width])
    wear = told.of_series(told.readings.wear_mm)[seen]
    gram = np.zeros((change.size, width, width))
    score = np.zeros((change.size, width))
    np.add.at(gram, run, columns[:, :, None] * columns[:, None, :])
    np.add.at(score, run, columns * wear[:, None])
    fit, row = told.model.fit, average_row(told.model.covariates)
    kept = fit.columns_kept
    gram, score, row = gram[:, kept][:, :, kept], score[:, kept], row[kept]
    rate = fit.rate[kept]
    whole = gram.sum(axis=0)
    cover = np.linalg.pinv(fit.covariance[1:, 1:][np.ix_(kept, kept)])
    held = np.maximum(np.diag(cover) - np.diag(whole), 0.0)
    whole = whole + np.diag(held)
    others = np.linalg.pinv(whole - gram, hermitian=True)
    without = np.einsum("rij,rj->ri", others, whole @ rate - score)
    usual = float(row @ rate)
    told_runs = np.unique(run)
    change[told_runs] = (without[told_runs] @ row - usual) / usual if usual else 0.0
    return change


def influential_runs(told: Whitened) -> tuple[InfluentialRun, ...]:
    """
    The runs that move their type's rate most.

    Parameters
    ----------
    told : Whitened
        One brake type.

    Returns
    -------
    tuple of InfluentialRun
        At most five, the strongest first.
    """
    change = without_each(told)
    order = np.argsort(-np.abs(change), kind="stable")[:MOST]
    read = np.count_nonzero(told.readings.valid, axis=0)
    return tuple(
        InfluentialRun(
            serial=str(told.case.runs["serial"].iloc[at]),
            run=int(told.case.runs["run"].iloc[at]),
            readings=int(read[at]),
            change=float(change[at]),
        )
        for at in order
        if change[at]
    )
