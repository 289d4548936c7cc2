"""Two ways wear may go, on the same increments: a Wiener path of random rate, a gamma process of random scale."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import gammaln

from lifecycle.whitened import Whitened

Floats = npt.NDArray[np.float64]

PARAMETERS: Final = 3  # of either
# Wear of an increment over the standard deviation of one reading: the gauge then blurs it by 7 %.
CLEAR: Final = 20.0
LEAST: Final = 30  # increments, below which nothing is compared
MOST_RUNS: Final = 4000
TOLD_APART: Final = (
    4.0  # of the criterion: the worse then is at most 1 in 8 as likely (Burnham and Anderson, recalled)
)


@dataclass(frozen=True)
class Increments:
    """Wear (mm, above 0) over landings, and the run that each belongs to (0, 1, ...), arrays of shape (n,)."""

    landings: Floats
    wear_mm: Floats
    run: npt.NDArray[np.int64]


@dataclass(frozen=True)
class ProcessFit:
    """Parameters by the names of the formulas, and the log-likelihood reached."""

    parameters: tuple[tuple[str, float], ...]
    log_likelihood: float

    @property
    def criterion(self) -> float:
        """Akaike's information criterion."""
        return 2 * PARAMETERS - 2 * self.log_likelihood


@dataclass(frozen=True)
class ProcessComparison:
    """
    Information criteria of both on the same increments; ``better`` is ``wiener``, ``gamma`` or ``neither``.

    ``advantage`` is the gamma process's criterion less the Wiener path's: above 0 the Wiener path is the better.
    """

    increments: int
    runs: int
    wiener: float
    gamma: float
    advantage: float
    better: str


def clear_increments(told: Whitened) -> Increments:
    """
    Increments long enough for the gauge not to matter.

    Parameters
    ----------
    told : Whitened
        One brake type.

    Returns
    -------
    Increments
        Of readings in the rate, from a known start or the first reading on; each at least so many landings long that
        the mean wear is 20 times the standard deviation of a reading, and longer where wear would not be above 0.
        At most 4,000 runs, evenly chosen.
    """
    fit, readings = told.model.fit, told.readings
    rate = float(np.mean(told.z @ fit.rate)) if told.z.size else 0.0
    columns = np.unique(np.linspace(0, max(readings.unknown.size - 1, 0), MOST_RUNS).astype(np.int64))
    if rate <= 0 or not readings.valid.size:
        return Increments(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64))
    readings, least = readings.take(columns), CLEAR * fit.measurement_sd / rate
    at_x = np.where(readings.unknown > 0, np.nan, 0.0)
    at_w = at_x.copy()
    found = []
    for x, w, valid, restart in zip(
        readings.landings, readings.wear_mm, readings.valid, readings.restart, strict=True
    ):
        with np.errstate(invalid="ignore"):
            take = valid & ~restart & (x - at_x >= least) & (w > at_w)
        found += [np.stack([(x - at_x)[take], (w - at_w)[take], np.flatnonzero(take)])]
        moved = take | (valid & (restart | np.isnan(at_x)))
        at_x, at_w = np.where(moved, x, at_x), np.where(moved, w, at_w)
    landings, wear, run = np.concatenate(found, axis=1)
    _, number = np.unique(run, return_inverse=True)
    return Increments(landings, wear, number.astype(np.int64))


def fit_wiener(data: Increments) -> ProcessFit:
    """
    Fit a Wiener path whose rate differs between runs, without a gauge.

    Parameters
    ----------
    data : Increments
        At least two.

    Returns
    -------
    ProcessFit
        ``rate``, ``rate_sd`` (mm a landing), ``path_sd`` (mm per root landing).

    Notes
    -----
    dw ~ N(r dx, s^2 dx), r ~ N(mu, tau^2): with X, W the sums of a run, A = X/s^2 + 1/tau^2 and B = W/s^2 + mu/tau^2,
    log L = sum log N(dw; 0, s^2 dx) + (B^2/A - mu^2/tau^2 - log(tau^2 A)) / 2.
    """
    x, w = _sums(data)
    mean = float(w.sum() / x.sum())
    scatter = float(np.mean((data.wear_mm - mean * data.landings) ** 2 / data.landings))

    def log_likelihood(at: Floats) -> float:
        mu, tau2, s2 = at[0] * mean, np.exp(2 * at[1]) * mean**2, np.exp(2 * at[2]) * scatter
        a, b = x / s2 + 1 / tau2, w / s2 + mu / tau2
        own = -0.5 * np.log(2 * np.pi * s2 * data.landings) - data.wear_mm**2 / (2 * s2 * data.landings)
        return float(own.sum() + np.sum(b**2 / a - mu**2 / tau2 - np.log(tau2 * a)) / 2)

    best, value = _climb(log_likelihood, np.array([1.0, np.log(0.1), 0.0]))
    told = (
        ("rate", best[0] * mean),
        ("rate_sd", np.exp(best[1]) * mean),
        ("path_sd", np.exp(best[2]) * scatter**0.5),
    )
    return ProcessFit(tuple((name, float(number)) for name, number in told), value)


def fit_gamma(data: Increments) -> ProcessFit:
    """
    Fit a gamma process whose scale differs between runs.

    Parameters
    ----------
    data : Increments
        At least two.

    Returns
    -------
    ProcessFit
        ``shape_per_landing`` (alpha), ``scale_shape`` (delta), ``scale_rate_mm`` (gamma).

    Notes
    -----
    dw ~ Gamma(alpha dx, rate u), u ~ Gamma(delta, rate gamma): with X, W the sums of a run,
    log L = sum ((alpha dx - 1) log dw - log Gamma(alpha dx)) + delta log gamma - log Gamma(delta)
    + log Gamma(delta + alpha X) - (delta + alpha X) log(gamma + W). Mean rate alpha gamma / (delta - 1).

    References
    ----------
    Lawless and Crowder 2004, Covariates and random effects in a gamma process model, Lifetime Data Analysis 10(3);
    recalled.
    """
    x, w = _sums(data)
    mean = float(w.sum() / x.sum())
    scatter = float(np.mean((data.wear_mm - mean * data.landings) ** 2 / data.landings))
    logs = np.log(data.wear_mm)

    def log_likelihood(at: Floats) -> float:
        alpha, delta = np.exp(at[0]) * mean**2 / scatter, np.exp(at[1])
        gamma = np.exp(at[2]) * mean * delta / alpha
        own = (alpha * data.landings - 1) * logs - gammaln(alpha * data.landings)
        whole = delta * np.log(gamma) - gammaln(delta) + gammaln(delta + alpha * x)
        return float(own.sum() + np.sum(whole - (delta + alpha * x) * np.log(gamma + w)))

    best, value = _climb(log_likelihood, np.array([0.0, np.log(100.0), 0.0]))
    alpha, delta = np.exp(best[0]) * mean**2 / scatter, np.exp(best[1])
    told = (
        ("shape_per_landing", alpha),
        ("scale_shape", delta),
        ("scale_rate_mm", np.exp(best[2]) * mean * delta / alpha),
    )
    return ProcessFit(tuple((name, float(number)) for name, number in told), value)


def compare_processes(data: Increments) -> ProcessComparison | None:
    """
    Which of the two tells the increments better.

    Parameters
    ----------
    data : Increments
        Of one brake type.

    Returns
    -------
    ProcessComparison or None
        None below 30 increments.
    """
    if data.landings.size < LEAST:
        return None
    wiener, gamma = fit_wiener(data).criterion, fit_gamma(data).criterion
    advantage = gamma - wiener
    better = "neither" if abs(advantage) < TOLD_APART else "wiener" if advantage > 0 else "gamma"
    return ProcessComparison(data.landings.size, int(data.run.max()) + 1, wiener, gamma, advantage, better)


def _sums(data: Increments) -> tuple[Floats, Floats]:
    landings, wear = (np.bincount(data.run, each) for each in (data.landings, data.wear_mm))
    return landings.astype(np.float64), wear.astype(np.float64)


def _climb(log_likelihood: Callable[[Floats], float], start: Floats) -> tuple[Floats, float]:
    found = minimize(  # type: ignore[call-overload]  # the stubs want the option names of another method
        lambda at: -log_likelihood(at),
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-6, "fatol": 1e-6, "maxiter": 2000, "initial_simplex": _simplex(start)},
    )
    return np.asarray(found.x, dtype=np.float64), -float(found.fun)


def _simplex(start: Floats) -> Floats:
    return np.vstack([start, start + np.diag([0.2, 0.7, 0.2])])
