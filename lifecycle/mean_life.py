"""
Mean life of one brake type, or of one against another, from the rates of their runs, brakes of an aircraft together.

A run's share of usable wear a landing is y = theta_t + a + v + e: the mean of its type, an effect of its aircraft
a ~ N(0, omega^2), the run's own v ~ N(0, tau_t^2), and the error of its readings, all in parts of the type's mean.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from lifecycle.errors import NotEnoughDataError

Floats = npt.NDArray[np.float64]

# Aircraft, or brakes, that differ by more than half the mean are not believed; common practice, no source.
SPREAD_MAX: Final = 0.5
POINTS: Final = {1: 24, 2: 12}  # on each axis of the grid, by number of types
ZOOMS: Final = 6
SLIGHT: Final = 1e-5  # of the largest marginal weight: left out when the grid closes in


@dataclass(frozen=True)
class TypeSums:
    """Sums over the runs of one type by spread between them (n_points) and aircraft (n_aircraft)."""

    weight: Floats
    weighed: Floats
    square: Floats  # (n_points,): the rest of -2 log likelihood
    spread: Floats  # (n_points,)


@dataclass(frozen=True)
class MeanLife:
    """
    Posterior of a mean life, or of the ratio of two, as a mixture of normals on the log scale.

    Attributes
    ----------
    weight, middle, sd : array of shape (n_nodes,)
        Weights, summing to 1, and the normals of the logarithm; one node for each set of spreads.
    between_aircraft, between_runs : float
        Posterior mean spreads, as parts of the mean rate; of the first type.
    aircraft, runs : int
        How many stand behind the first type.
    """

    weight: Floats
    middle: Floats
    sd: Floats
    between_aircraft: float
    between_runs: float
    aircraft: int
    runs: int

    @property
    def log_mean(self) -> float:
        """Mean of the logarithm."""
        return float(self.weight @ self.middle)

    @property
    def log_sd(self) -> float:
        """Standard deviation of the logarithm."""
        return float(np.sqrt(self.weight @ (self.sd**2 + (self.middle - self.log_mean) ** 2)))

    def chance_above(self, value: float) -> float:
        """
        Chance that the life, or ratio, is at least a value.

        Parameters
        ----------
        value : float
            Landings, or a ratio, above 0.

        Returns
        -------
        float
            Between 0 and 1.
        """
        return float(self.weight @ ndtr((self.middle - np.log(value)) / self.sd))

    def quantile(self, level: float) -> float:
        """
        Life, or ratio, that the true one is below with a chance.

        Parameters
        ----------
        level : float
            The chance, above 0 and below 1.

        Returns
        -------
        float
            Wider than a normal's by as much as the spreads are uncertain, as Student's t is.
        """
        ends = self.middle + ndtri(level) * self.sd
        low, high = float(ends.min()) - 1e-9, float(ends.max()) + 1e-9
        return float(np.exp(brentq(lambda x: 1 - self.chance_above(float(np.exp(x))) - level, low, high)))


def mean_life(rates: Sequence[pd.DataFrame]) -> MeanLife:
    """
    Mean landings per run of one type, or the ratio of the first type's to the second's.

    Parameters
    ----------
    rates : sequence of one or two DataFrames
        From `own_rates.own_rates`.

    Returns
    -------
    MeanLife
        Of the brakes as they were flown: bases and positions are not held equal.

    Raises
    ------
    NotEnoughDataError
        If the mean wear of a type is not above zero.

    Notes
    -----
    The prior is flat in the means and in the spreads omega and tau_t up to half the mean; given the spreads the means
    follow by weighted least squares, an aircraft at a time. The grid over the spreads closes in on where their
    restricted likelihood lies. Mean life of a wear path with a rate of mean m and relative variance c^2 is
    (1 + c^2) / m of the usable wear, whatever its path noise (mean of the inverse Gaussian law).

    References
    ----------
    A. Gelman, Prior distributions for variance parameters in hierarchical models, Bayesian Analysis 1, 2006, 515-534
    (uniform prior on a standard deviation); recalled.
    """
    scales = [_scale(each) for each in rates]
    if min(scales) <= 0:
        raise NotEnoughDataError(
            "mean wear per landing is not above zero: check the convention and unit of readings"
        )
    craft = np.unique(np.concatenate([each["aircraft"].to_numpy() for each in rates]))
    axes = [np.array([0.0, SPREAD_MAX])] * (1 + len(rates))
    for _ in range(ZOOMS):
        grid = [_points(low, high, POINTS[len(rates)]) for low, high in axes]
        sums = [
            _sums(*one, craft, grid[1 + place]) for place, one in enumerate(zip(rates, scales, strict=True))
        ]
        loglik, mean, covariance = _over_aircraft(grid[0], sums)
        weight = np.exp(loglik - loglik.max())
        closer = [_closer(weight, place, points) for place, points in enumerate(grid)]
        if all(np.ptp(new) > 0.6 * np.ptp(old) for new, old in zip(closer, axes, strict=True)):
            break
        axes = closer
    found = _lives(grid, weight, mean, covariance, scales)
    return replace(found, aircraft=rates[0]["aircraft"].nunique(), runs=len(rates[0]))


def _scale(rates: pd.DataFrame) -> float:
    """A rough mean, to count in parts of."""
    return float(np.average(rates["share"], weights=1 / rates["variance"]))


def _points(low: float, high: float, count: int) -> Floats:
    """Middles of even cells, so that each stands for as much of the flat prior."""
    return np.asarray(low + (high - low) * (np.arange(count) + 0.5) / count)


def _closer(weight: Floats, axis: int, points: Floats) -> Floats:
    """The part of an axis where anything lies, a cell to spare on either side."""
    marginal = weight.sum(axis=tuple(other for other in range(weight.ndim) if other != axis))
    kept = np.flatnonzero(marginal >= SLIGHT * marginal.max())
    step = points[1] - points[0]
    return np.array([max(points[kept[0]] - 1.5 * step, 0.0), min(points[kept[-1]] + 1.5 * step, SPREAD_MAX)])


def _sums(rates: pd.DataFrame, scale: float, craft: npt.NDArray[np.int64], spreads: Floats) -> TypeSums:
    y, own = rates["share"].to_numpy() / scale, rates["variance"].to_numpy() / scale**2
    variance = spreads[:, None] ** 2 + own
    place = np.searchsorted(craft, rates["aircraft"].to_numpy())

    def by_aircraft(values: Floats) -> Floats:
        return np.array([np.bincount(place, row, craft.size) for row in values])

    square = (np.log(variance) + y**2 / variance).sum(axis=1)
    return TypeSums(by_aircraft(1 / variance), by_aircraft(y / variance), square, spreads)


def _over_aircraft(omegas: Floats, sums: Sequence[TypeSums]) -> tuple[Floats, Floats, Floats]:
    """Restricted log likelihood, means and their covariance at every node: one slice an omega."""
    slices = [_at(omega, sums) for omega in omegas]
    return tuple(np.stack(part) for part in zip(*slices, strict=True))  # type: ignore[return-value]


def _at(omega: float, sums: Sequence[TypeSums]) -> tuple[Floats, Floats, Floats]:
    weights, weighed, square = _spread_out(sums)
    total, both = _added(weights), _added(weighed)
    shrink = omega**2 / (1 + omega**2 * total)
    quad = square + np.log1p(omega**2 * total).sum(axis=-1) - (shrink * both**2).sum(axis=-1)
    score = np.stack(
        [(t - shrink * s * both).sum(axis=-1) for s, t in zip(weights, weighed, strict=True)], axis=-1
    )
    information = _information(weights, shrink)
    covariance = np.asarray(np.linalg.inv(information), dtype=float)
    mean: Floats = np.einsum("...ij,...j->...i", covariance, score)
    explained = np.einsum("...i,...i->...", mean, score)
    loglik = -(quad + np.asarray(np.linalg.slogdet(information)[1]) - explained) / 2
    return loglik, mean, covariance


def _spread_out(sums: Sequence[TypeSums]) -> tuple[list[Floats], list[Floats], Floats]:
    """Sums of the types on the common grid of their spreads: (n, n_aircraft) or (n, n, n_aircraft)."""
    if len(sums) == 1:
        return [sums[0].weight], [sums[0].weighed], sums[0].square
    one, two = sums
    return (
        [one.weight[:, None], two.weight[None]],
        [one.weighed[:, None], two.weighed[None]],
        one.square[:, None] + two.square,
    )


def _added(parts: Sequence[Floats]) -> Floats:
    return parts[0] if len(parts) == 1 else np.asarray(parts[0] + parts[1])


def _information(weights: Sequence[Floats], shrink: Floats) -> Floats:
    rows = [
        np.stack(
            [((s if p == q else 0.0) - shrink * s * t).sum(axis=-1) for q, t in enumerate(weights)], axis=-1
        )
        for p, s in enumerate(weights)
    ]
    return np.stack(rows, axis=-2)


def _lives(
    grid: Sequence[Floats], weight: Floats, mean: Floats, covariance: Floats, scales: Sequence[float]
) -> MeanLife:
    spreads = np.meshgrid(*grid, indexing="ij")
    weight = np.where((mean > 0).all(axis=-1), weight, 0.0)
    weight = weight / weight.sum()
    level = np.where(mean > 0, mean, 1.0)
    sign = np.array([1.0, -1.0])[: len(scales)]
    relative = sign / level
    longer = np.stack([np.log1p((spreads[0] ** 2 + own**2) / m**2) for own, m in
                       zip(spreads[1:], np.moveaxis(level, -1, 0), strict=True)], axis=-1)  # fmt: skip
    middle = ((longer - np.log(level) - np.log(scales)) * sign).sum(axis=-1)
    variance = np.einsum("...i,...ij,...j->...", relative, covariance, relative)
    heavy = weight > 1e-12
    return MeanLife(
        weight=weight[heavy] / weight[heavy].sum(),
        middle=middle[heavy],
        sd=np.sqrt(variance[heavy]),
        between_aircraft=float((weight * spreads[0]).sum()),
        between_runs=float((weight * spreads[1]).sum()),
        aircraft=0,
        runs=0,
    )


def sd_when(rates: Sequence[pd.DataFrame], life: MeanLife, times: float) -> float:
    """
    Standard deviation of the log life once the first type has so many times the landings on the same aircraft.

    Parameters
    ----------
    rates : sequence of one or two DataFrames
        As in `mean_life`.
    life : MeanLife
        What is known now.
    times : float
        Landings then over landings now, 1 or more.

    Returns
    -------
    float
        At the spreads' posterior means; it never falls below what the number of aircraft leaves open.
    """
    craft = np.unique(np.concatenate([each["aircraft"].to_numpy() for each in rates]))
    scales = [_scale(each) for each in rates]
    spread = np.array([life.between_runs])
    sums = [_sums(one, scale, craft, spread) for one, scale in zip(rates, scales, strict=True)]
    weights = [each.weight[0] * (times if place == 0 else 1.0) for place, each in enumerate(sums)]
    shrink = life.between_aircraft**2 / (1 + life.between_aircraft**2 * _added(weights))
    covariance = np.linalg.inv(_information(weights, shrink))
    sign = np.array([1.0, -1.0])[: len(rates)]
    return float(np.sqrt(sign @ covariance @ sign))
