"""The search for the variances of the wear model: path noise outside, start and rate inside."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Final

import numpy as np
from scipy.optimize import Bounds, brentq, minimize, minimize_scalar

from lifecycle.bends import filter_bends
from lifecycle.pathfilter import Floats, PathSums, Readings, filter_path
from lifecycle.reml import Design, Profile, Spread, profile
from lifecycle.wear_prior import WearPrior

# Variance ratios are searched in units of a typical run's landings, over all magnitudes that double precision tells.
LOG_RATE: Final = (np.log(1e-8), np.log(1e16))
LOG_PATH: Final = (np.log(1e-6), np.log(1e8))
LEAST: Final = np.array([np.log(1e-5), np.log(1e-5), -8.0])
MOST: Final = np.array([np.log(1e8), np.log(1e8), 8.0])
THINNED_RUNS: Final = 4000
NEAR: Final = 0.3
# Within the search for the path noise the rate's variance need not be exact: its error enters squared.
ROUGH: Final = 1e-4
SECANTS: Final = 6
FAR_OFF: Final = 1.5  # in the log of the rate's variance: further off the search brackets it first
EXACT: Final = 1e-13


@dataclass(frozen=True)
class Problem:
    """Readings centred on a pooled line (so that sums of squares keep their digits), and what belongs to them."""

    readings: Readings
    design: Design
    scale: float
    prior: WearPrior
    restricted: bool = True

    def thinned(self) -> "Problem":
        """Evenly spaced runs: enough to know the magnitude of the path noise."""
        count = self.readings.unknown.size
        if count <= THINNED_RUNS:
            return self
        some = np.linspace(0, count - 1, THINNED_RUNS).astype(np.int64)
        few = self.readings.take(some)
        kind, unknown = self.design.kind[some], self.design.unknown[some]
        design = replace(self.design, kind=kind, unknown=unknown, degrees=few.degrees)
        return replace(self, readings=few, design=design)


@dataclass(frozen=True)
class Found:
    """Best variance ratios: covariance of start and rate, path variance per landing; the criterion and sums there."""

    spread: Spread
    path_ratio: float
    at: Profile
    sums: PathSums


@dataclass(frozen=True)
class Start:
    """Variance ratios near which the minimum is expected, from much the same readings."""

    spread: Spread
    path_ratio: float


def search(
    problem: Problem, *, path_noise: bool, near: Start | None = None, same_path: bool = False
) -> Found:
    """
    Minimise the restricted likelihood over all variance ratios.

    Parameters
    ----------
    problem : Problem
        Readings, design, prior, and the landings of a typical run.
    path_noise : bool
        Search for path noise; else it is zero.
    near : Start, optional
        Where to look first.
    same_path : bool
        Keep the path noise of `near`, over the measurement's, and search for the rest.

    Returns
    -------
    Found
        The minimum; a ratio is 0 where the likelihood only falls towards 0.
    """
    if not path_noise or (problem.design.degrees < 2 and not problem.prior.weight):
        return _simplest(problem, _inner(problem, 0.0, None, EXACT))
    if near is not None and same_path:
        return _simplest(problem, _inner(problem, near.path_ratio, near.spread, EXACT))
    few = problem.thinned()
    found = _close_to(problem, near) if near is not None else None
    if found is None:
        low, high = _bracket_path(few)
        found = _best_path(few, low, high, None)
        if few is not problem:
            start = Start(found.spread, found.path_ratio)
            found = _close_to(problem, start) or _best_path(problem, low, high, found.spread)
    return _simplest(problem, _inner(problem, found.path_ratio, found.spread, EXACT))


def _close_to(problem: Problem, start: Start) -> Found | None:
    """The best path ratio within a factor of 1.35 of the start; None if it lies further off."""
    if not start.path_ratio > 0:
        return None
    middle = float(np.log(start.path_ratio))
    near = _best_path(problem, middle - NEAR, middle + NEAR, start.spread)
    return near if near.path_ratio > 0 and abs(np.log(near.path_ratio) - middle) < 0.95 * NEAR else None


def _simplest(problem: Problem, found: Found) -> Found:
    """A spread that the readings do not feel (one run; no landings flown) is none, not what rounding made of it."""
    if problem.prior.weight:
        return found
    as_good = found.at.value + 1e-12 * abs(found.at.value)
    criterion = _criterion(problem, found.sums, found.path_ratio)
    for spread in (Spread(0.0, 0.0, 0.0), Spread(found.spread.start, 0.0, 0.0)):
        at = criterion(spread)
        if at.value <= as_good:
            return replace(found, spread=spread, at=at)
    return found


def _criterion(problem: Problem, sums: PathSums, path_ratio: float) -> Callable[[Spread], Profile]:
    return partial(
        profile,
        sums,
        problem.design,
        path_ratio=path_ratio,
        prior=problem.prior,
        bends=filter_bends(problem.readings, path_ratio) if problem.design.bent else None,
        restricted=problem.restricted,
    )


def _inner(problem: Problem, path_ratio: float, warm: Spread | None, tolerance: float) -> Found:
    """Best spread at one path ratio, from the spread at a neighbouring one."""
    sums = filter_path(problem.readings, path_ratio)
    at = _criterion(problem, sums, path_ratio)
    if problem.design.has_start:
        spread = _search_both(at, problem.scale, warm, degrees=problem.design.degrees, tolerance=tolerance)
    else:
        least = 0.0 if not problem.prior.weight else np.exp(LOG_RATE[0]) / problem.scale**2
        spread = _search_rate(at, problem.scale, warm, least=least, tolerance=tolerance)
    return Found(spread, path_ratio, at(spread), sums)


def _bracket_path(problem: Problem) -> tuple[float, float]:
    """Decades of log path ratio around the best: walked to from what is believed, else the best of a coarse grid."""
    prior = problem.prior
    if prior.weight and prior.path_sd > 0 and prior.measurement_sd > 0:
        return _walked(problem, 2 * float(np.log(prior.path_sd / prior.measurement_sd)))
    grid = np.arange(*LOG_PATH, np.log(10)) - np.log(problem.scale)
    values, warm = [], None
    for log_ratio in grid:
        found = _inner(problem, float(np.exp(log_ratio)), warm, ROUGH)
        warm = found.spread
        values.append(found.at.value)
    best = int(np.argmin(values))
    return float(grid[max(best - 1, 0)]), float(grid[min(best + 1, grid.size - 1)])


def _walked(problem: Problem, first: float) -> tuple[float, float]:
    """Decades around the first point, going down from the believed one, that both its neighbours stand above."""
    decade, warm = float(np.log(10)), None
    lowest, highest = (bound - float(np.log(problem.scale)) for bound in LOG_PATH)

    @cache
    def value(steps: int) -> float:
        nonlocal warm
        found = _inner(problem, float(np.exp(first + steps * decade)), warm, ROUGH)
        warm = found.spread
        return found.at.value

    step = 0
    way = 1 if value(1) < value(0) else -1
    while value(step + way) < value(step) and lowest < first + (step + way) * decade < highest:
        step += way
    return first + (step - 1) * decade, first + (step + 1) * decade


def _best_path(problem: Problem, low: float, high: float, warm: Spread | None) -> Found:
    """Best found between two log path ratios, or at no path noise."""
    tried: list[Found] = []

    def value(log_ratio: float) -> float:
        latest = tried[-1].spread if tried else warm
        tried.append(_inner(problem, float(np.exp(log_ratio)), latest, ROUGH))
        return tried[-1].at.value

    minimize_scalar(value, bounds=(low, high), method="bounded", options={"xatol": 1e-4})
    if not problem.prior.weight:
        tried.append(_inner(problem, 0.0, tried[-1].spread, ROUGH))
    return min(tried, key=lambda found: found.at.value)


def _search_rate(
    at: Callable[[Spread], Profile], scale: float, warm: Spread | None, *, least: float, tolerance: float
) -> Spread:
    """The rate's variance ratio where the slope vanishes; the least where the likelihood only falls towards it."""
    unit = 2 * np.log(scale)

    @cache
    def slope(log_rate: float) -> float:
        return float(at(Spread(0.0, 0.0, float(np.exp(log_rate - unit)))).slope[1, 1])

    if warm is not None and warm.rate > 0 and tolerance >= ROUGH:
        near = _secant(slope, float(np.clip(np.log(warm.rate) + unit, *LOG_RATE)), tolerance)
        if near is not None:
            return Spread(0.0, 0.0, float(np.exp(near - unit)))
    if warm is not None and warm.rate > 0:
        low = high = float(np.clip(np.log(warm.rate) + unit, *LOG_RATE))
        width = 0.05
    else:
        grid = np.arange(*LOG_RATE, 3 * np.log(10))
        values = [at(Spread(0.0, 0.0, float(np.exp(point - unit)))).value for point in grid]
        low = high = float(grid[int(np.argmin(values))])
        width = 1.0
    falling = slope(low) < 0
    while falling and slope(high) < 0 and high < LOG_RATE[1]:
        low, high, width = high, high + width, 4 * width
    while not falling and slope(low) >= 0 and low > LOG_RATE[0]:
        low, high, width = low - width, low, 4 * width
    if slope(low) >= 0:
        return Spread(0.0, 0.0, least)
    if slope(high) < 0:
        return Spread(0.0, 0.0, float(np.exp(high - unit)))
    root = float(brentq(slope, low, high, xtol=tolerance, rtol=1e-14))
    return Spread(0.0, 0.0, float(np.exp(root - unit)))


def _secant(slope: Callable[[float], float], first: float, tolerance: float) -> float | None:
    """Where a rising slope vanishes near a point; None where that is not close by, or the slope does not rise."""
    before, now = first, first + 0.02
    at_before, at_now = slope(before), slope(now)
    for _ in range(SECANTS):
        rise = (at_now - at_before) / (now - before)
        if not rise > 0:
            return None
        new = now - at_now / rise
        if abs(new - first) > FAR_OFF:
            return None
        if abs(new - now) <= tolerance:
            return new
        before, at_before, now, at_now = now, at_now, new, slope(new)
    return None


def _search_both(
    at: Callable[[Spread], Profile], scale: float, warm: Spread | None, *, degrees: int, tolerance: float
) -> Spread:
    """Start and rate together, over the logs of their deviations and the inverse tanh of their correlation."""

    def spread_of(point: Floats) -> Spread:
        start, rate = np.exp(point[0]), np.exp(point[1]) / scale
        return Spread(float(start**2), float(np.tanh(point[2]) * start * rate), float(rate**2))

    def value_and_slope(point: Floats) -> tuple[float, Floats]:
        spread = spread_of(point)
        found = at(spread)
        slope = found.slope * np.array([[spread.start, spread.both], [spread.both, spread.rate]])
        turned = 2 * found.slope[0, 1] * np.sqrt(spread.start * spread.rate) / np.cosh(point[2]) ** 2
        return found.value / degrees, np.array([*(2 * slope.sum(axis=1)), turned]) / degrees

    if warm is not None and warm.start > 0 and warm.rate > 0:
        together = np.clip(warm.both / np.sqrt(warm.start * warm.rate), -0.999, 0.999)
        first = np.array(
            [np.log(warm.start) / 2, np.log(warm.rate) / 2 + np.log(scale), np.arctanh(together)]
        )
    else:
        tries = [np.log([size, size, 1.0]) for size in (1e-2, 0.1, 1.0, 10.0, 100.0)]
        first = min(tries, key=lambda point: at(spread_of(point)).value)
    # SLSQP rather than L-BFGS-B, whose threads cost ten times the work itself on three unknowns.
    best = minimize(
        value_and_slope,
        np.clip(first, LEAST, MOST).astype(np.float64),
        jac=True,
        method="SLSQP",
        bounds=Bounds(LEAST, MOST),
        options={"ftol": tolerance**2 + 1e-16, "maxiter": 200},
    )
    return spread_of(best.x)
