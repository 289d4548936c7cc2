"""The season in flying: twelve month factors learned from the log, shrunk towards none."""

from typing import Final

import numpy as np

from lifecycle.days import FloatArray
from lifecycle.flown_months import FlownMonths

YEAR_SHOCK: Final = 0.05  # how far one month of one year strays from its season, before the log says; prior
YEAR_SHOCK_WEIGHT: Final = 6.0
ROUNDS: Final = 30
DAYS_IN_MONTH: Final = np.array([31, 28.2425, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def dispersion(months: FlownMonths, factors: FloatArray) -> float:
    """
    How much landings scatter from month to month, against a Poisson count.

    Parameters
    ----------
    months : FlownMonths
        The log by aircraft and month.
    factors : array of float, shape (m,)
        Month factor of each column.

    Returns
    -------
    float
        Mean of squared Pearson residuals of neighbouring months of one aircraft, given their sum; 1 for Poisson,
        at least 0.1, and 1 where no two months can be compared.

    Notes
    -----
    Given n = L1 + L2, L1 has mean n p and variance phi n p (1 - p), p = e1/(e1 + e2), with exposure e = days times
    factor: the level of the aircraft drops out.
    """
    exposure = months.days * factors
    n = months.landings[:, 1:] + months.landings[:, :-1]
    whole = (np.minimum(months.days[:, 1:], months.days[:, :-1]) >= 10) & (n >= 10)
    if not whole.any():
        return 1.0
    share = (exposure[:, 1:] / (exposure[:, 1:] + exposure[:, :-1] + ~whole))[whole]
    excess = months.landings[:, 1:][whole] - n[whole] * share
    return max(float(np.mean(excess**2 / (n[whole] * share * (1 - share)))), 0.1)


def learn_season(months: FlownMonths, phi: float) -> FloatArray:
    """
    Month factors of the fleet.

    Parameters
    ----------
    months : FlownMonths
        The log by aircraft and month.
    phi : float
        From `dispersion`.

    Returns
    -------
    array of float, shape (12,)
        January to December; landings a day against the year's mean, 1 in all where nothing is known.

    Notes
    -----
    In each block of twelve months landings follow level(aircraft) x factor(month), fitted by iterating the two margins
    (the Poisson maximum likelihood). What a month strays from year to year, with a prior of `YEAR_SHOCK`, is set
    against what the months differ: each log factor is shrunk by tau^2/(tau^2 + its variance). With one year of log
    the two cannot be told apart but by the prior.
    """
    landings, days = _in_years(months)
    if (days.sum(axis=(0, 1)) > 0).sum() < 6:
        return np.ones(12)
    logs = _level_off(np.log(_factors_by_year(landings, days)))
    known = np.isfinite(logs)
    years = known.sum(axis=0)
    mean = np.where(years > 0, np.nansum(logs, axis=0) / np.maximum(years, 1), 0.0)
    stray = float(np.nansum((logs - mean) ** 2))
    freedom = known.sum() - (years > 0).sum()
    shock = (YEAR_SHOCK_WEIGHT * YEAR_SHOCK**2 + stray) / (YEAR_SHOCK_WEIGHT + freedom)
    noise = shock / np.maximum(years, 1) + phi / np.maximum(landings.sum(axis=(0, 1)), 1.0)
    spread = max(float(np.mean((mean**2 - noise)[years > 0])), 0.0)
    calendar = np.exp(mean * spread / (spread + noise))
    season = np.roll(calendar, _calendar_shift(months))
    return np.asarray(season * DAYS_IN_MONTH.sum() / (season * DAYS_IN_MONTH).sum())


def _in_years(months: FlownMonths) -> tuple[FloatArray, FloatArray]:
    """Landings and days as (aircraft, block of twelve months, month), the last block ending with the log."""
    short = -months.days.shape[1] % 12
    shape = (len(months.days), -1, 12) if len(months.days) else (0, (months.days.shape[1] + short) // 12, 12)
    padded = [np.pad(value, ((0, 0), (short, 0))).reshape(shape) for value in (months.landings, months.days)]
    return padded[0], padded[1]


def _calendar_shift(months: FlownMonths) -> int:
    """How far the first month of a block is from January."""
    return int((months.first_month + months.days.shape[1]) % 12)


def _factors_by_year(landings: FloatArray, days: FloatArray) -> FloatArray:
    """Factors of shape (blocks, 12), NaN where nobody flew; each block has a geometric mean of 1."""
    factors = np.ones(landings.shape[1:])
    by_month = landings.sum(axis=0)
    by_aircraft = landings.sum(axis=2)
    for _ in range(ROUNDS):
        exposed = np.einsum("abj,bj->ab", days, factors)
        level = np.divide(by_aircraft, exposed, out=np.zeros_like(by_aircraft), where=exposed > 0)
        expected = np.einsum("abj,ab->bj", days, level)
        factors = np.divide(by_month, expected, out=np.zeros_like(by_month), where=expected > 0)
    factors[by_month == 0] = np.nan
    return factors


def _level_off(logs: FloatArray) -> FloatArray:
    """Centre each block; one with months missing on the same months of the full blocks."""
    full = np.isfinite(logs).all(axis=1)
    centred = logs - np.where(full, logs.mean(axis=1), 0.0)[:, None]
    typical = centred[full].mean(axis=0) if full.any() else np.zeros(12)
    for block in np.flatnonzero(~full):
        known = np.isfinite(logs[block])
        if known.any():
            centred[block] += (typical[known] - logs[block][known]).mean()
    return centred
