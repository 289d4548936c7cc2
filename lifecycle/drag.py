"""A brake that begins to wear faster or slower than its own past: a two-sided CUSUM on its innovations."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.pathfilter import Floats, Readings
from lifecycle.posterior import RunPosterior, widened

SLACK: Final = 0.5
ALARM: Final = 4.0
CHANGE: Final = 0.5  # of the rate: what a fault does to it (common practice, no source)


@dataclass(frozen=True)
class Drift:
    """
    Alarms that stand at the last reading.

    Attributes
    ----------
    sign : array of shape (n_runs,)
        1 where wear runs ahead of its forecasts, -1 where it lags, 0 where no alarm stands.
    since : array of shape (n_runs,)
        Braked landings when it began; means nothing without an alarm.
    flown : array of shape (n_runs,)
        Braked landings from then to the last reading; means nothing without an alarm.
    rate_mm : array of shape (n_runs,)
        Wear per landing since, mm; NaN without an alarm.
    """

    sign: Floats
    since: Floats
    flown: Floats
    rate_mm: Floats


def find_drift(away: Floats, readings: Readings) -> Drift:
    """
    Runs whose innovations have kept to one side.

    Parameters
    ----------
    away : array of shape (n_readings, n_runs)
        Standardised innovations; NaN where there is none.
    readings : Readings
        The readings they belong to.

    Returns
    -------
    Drift
        One entry a run.

    Notes
    -----
    C+ = max(0, C+ + z - k), C- = max(0, C- - z - k), k = 0.5, alarm above h = 4. In control it speaks once in 168
    readings; a shift of two standard deviations is seen after about 3.

    References
    ----------
    D. C. Montgomery, Introduction to Statistical Quality Control, section 9.1, average run lengths of the tabular
    CUSUM with k = 0.5 (recalled).
    """
    runs = np.arange(away.shape[1])
    above, below = _sums(away), _sums(-away)
    sign = np.where(above[-1] > ALARM, 1.0, np.where(below[-1] > ALARM, -1.0, 0.0))
    if not sign.any():
        none = np.zeros(runs.size)
        return Drift(sign, none, none, np.full(runs.size, np.nan))
    order = np.arange(away.shape[0])[:, None]
    began = np.where(np.where(sign > 0, above[1:], below[1:]) > 0, 0, order + 1).max(axis=0)
    before = np.where(readings.valid & (order < began), order, -1).max(axis=0)
    last = np.where(readings.valid, order, -1).max(axis=0)
    since = np.where(before >= 0, readings.landings[before, runs], 0.0)
    level = np.where(before >= 0, readings.wear_mm[before, runs], 0.0)
    flown = readings.landings[last, runs] - since
    told = (sign != 0) & (flown > 0) & ((before >= 0) | (readings.unknown == 0))
    gained = readings.wear_mm[last, runs] - level
    rate = np.divide(gained, flown, out=np.full(runs.size, np.nan), where=told)
    return Drift(np.where(told, sign, 0.0), since, flown, rate)


def _sums(away: Floats) -> Floats:
    """C+ before the first reading and after each, (1 + n_readings, n_runs): the plain sum above its least."""
    steps = np.where(np.isfinite(away), away - SLACK, 0.0)
    total = np.cumsum(np.vstack([np.zeros((1, away.shape[1])), steps]), axis=0)
    return np.asarray(total - np.minimum.accumulate(total, axis=0))


def doubt_rate(state: RunPosterior, drift: Drift, *, path_sd: float, measurement_sd: float) -> RunPosterior:
    """
    Posterior with the rate's variance widened so far that the change of rate seen is one deviation away.

    Parameters
    ----------
    state : RunPosterior
        After the last reading.
    drift : Drift
        Of the same runs.
    path_sd, measurement_sd : float
        Of the type's fit, mm per root landing and mm.

    Returns
    -------
    RunPosterior
        Rate and wear stand as they are, and how they vary together; the rate may be either.

    Notes
    -----
    The change seen, rate since - rate, is shrunk by D / (D + v): D the square of a change of half the rate, such as a
    dragging brake makes, v the noise of the rate since, (path_sd^2 n + 2 measurement_sd^2) / n^2 over n landings.
    """
    alarmed = drift.sign != 0
    n = np.where(alarmed, drift.flown, 1.0)
    noise = (path_sd**2 * n + 2 * measurement_sd**2) / n**2
    possible = (CHANGE * state.rate) ** 2
    change = np.where(alarmed, drift.rate_mm - state.rate, 0.0) * possible / (possible + noise)
    return widened(state, change**2, measurement_sd=measurement_sd)
