"""The season in flying: month factors learned from the log, each type's shrunk towards the fleet's."""

from typing import Final, NamedTuple

import numpy as np

from lifecycle.days import BoolArray, FloatArray, IntArray
from lifecycle.flown_months import FlownMonths

YEAR_SHOCK: Final = 0.05  # how far one month of one year strays from its season, before the log says; prior
YEAR_SHOCK_WEIGHT: Final = 6.0
ROUNDS: Final = 30
LEAST_MONTHS: Final = 6
DAYS_IN_MONTH: Final = np.array([31, 28.2425, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def dispersion(months: FlownMonths, factors: FloatArray) -> float:
    """
    How much landings scatter from month to month, against a Poisson count.

    Parameters
    ----------
    months : FlownMonths
        The log by aircraft and month.
    factors : array of float, shape (a, m)
        Month factor of each aircraft and column.

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


class Seasons(NamedTuple):
    """Month factors, January to December: of the fleet, shape (12,), and of each kind of aircraft, (k, 12)."""

    fleet: FloatArray
    by_kind: FloatArray


def learn_seasons(months: FlownMonths, kind: IntArray, phi: float) -> Seasons:
    """
    Month factors of the fleet and of each aircraft type.

    Parameters
    ----------
    months : FlownMonths
        The log by aircraft and month.
    kind : array of int64, shape (a,)
        Number of each aircraft's type.
    phi : float
        From `dispersion`.

    Returns
    -------
    Seasons
        Landings a day against the year's mean, 1 in all where nothing is known.

    Notes
    -----
    In each block of twelve months landings follow level(aircraft) x factor(month), fitted by iterating the two margins
    (the Poisson maximum likelihood). What a month strays from year to year, with a prior of `YEAR_SHOCK`, is set
    against what the months differ: each log factor of the fleet is shrunk towards 0 by tau^2/(tau^2 + its variance),
    and each of a type towards the fleet's in the same way. With one year of log the two cannot be told apart but by
    the prior.
    """
    fleet = _shrunk(_log_factors(months, phi), np.zeros(12))
    logs = []
    for number in range(int(kind.max(initial=0)) + 1):
        of_kind = FlownMonths(
            months.first_month, months.landings[kind == number], months.days[kind == number]
        )
        logs.append(_shrunk(_log_factors(of_kind, phi), fleet))
    return Seasons(_normal(fleet), np.array([_normal(log) for log in logs]))


class _LogFactors(NamedTuple):
    """Mean log factor of each calendar month, its variance, and whether the month was ever flown."""

    mean: FloatArray
    variance: FloatArray
    known: BoolArray


def _log_factors(months: FlownMonths, phi: float) -> _LogFactors:
    landings, days = _in_years(months)
    logs = _level_off(np.log(_factors_by_year(landings, days)))
    years = np.isfinite(logs).sum(axis=0)
    mean = np.nansum(logs, axis=0) / np.maximum(years, 1)
    stray = float(np.nansum((logs - mean) ** 2))
    freedom = years.sum() - (years > 0).sum()
    shock = (YEAR_SHOCK_WEIGHT * YEAR_SHOCK**2 + stray) / (YEAR_SHOCK_WEIGHT + freedom)
    variance = shock / np.maximum(years, 1) + phi / np.maximum(landings.sum(axis=(0, 1)), 1.0)
    from_january = (months.first_month + months.days.shape[1]) % 12
    return _LogFactors(*(np.roll(value, from_january) for value in (mean, variance, years > 0)))


def _shrunk(found: _LogFactors, prior: FloatArray) -> FloatArray:
    """Log factors between what was found and the prior; half a year tells no season."""
    if found.known.sum() < LEAST_MONTHS:
        return prior
    off = np.where(found.known, found.mean - prior, 0.0)
    spread = max(float(np.mean((off**2 - found.variance)[found.known])), 0.0)
    return np.asarray(prior + off * spread / (spread + found.variance))


def _normal(log: FloatArray) -> FloatArray:
    """Factors whose mean over the days of a year is 1."""
    season = np.exp(log)
    return np.asarray(season * DAYS_IN_MONTH.sum() / (season * DAYS_IN_MONTH).sum())


def _in_years(months: FlownMonths) -> tuple[FloatArray, FloatArray]:
    """Landings and days as (aircraft, block of twelve months, month), the last block ending with the log."""
    short = -months.days.shape[1] % 12
    shape = (len(months.days), -1, 12) if len(months.days) else (0, (months.days.shape[1] + short) // 12, 12)
    padded = [np.pad(value, ((0, 0), (short, 0))).reshape(shape) for value in (months.landings, months.days)]
    return padded[0], padded[1]


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
