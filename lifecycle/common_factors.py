"""What moves the demand of all positions of a cell together: flying, the type's wear rate, its other removals."""

from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline
from scipy.special import gammaincinv, ndtri

from lifecycle.demand import Demand, Positions, expected_demand

Floats = npt.NDArray[np.float64]

# Where the factor on landings is tried, in standard deviations, and how many equally likely states stand for both.
NODES: Final = np.array([-2.5, -1.25, 0.0, 1.25, 2.5])
STATES: Final = 64
# State i has quantile number 23 i + 11 (mod 64) of the second factor: of such lattices the one whose factors, their
# squares too, correlate least (0.013 at most).
SECOND: Final = (23 * np.arange(STATES) + 11) % STATES


def by_state(positions: Positions, spread: Floats, doubt: Floats) -> tuple[Floats, Floats]:
    """
    Moments of the demand of every cell under equally likely states of what its positions share.

    Parameters
    ----------
    positions : Positions
        What is fitted and flown; their groups are the cells.
    spread : array of shape (n_cells,)
        Standard deviation of the logarithm of a factor on landings.
    doubt : array of shape (n_cells,)
        Standard deviation of a factor on removals for other causes, which has a gamma law with mean 1.

    Returns
    -------
    tuple of array
        Mean and variance, each of shape (n_cells, n_months, n_states).

    Notes
    -----
    The factor on landings is tried at 5 nodes and splined, that on other removals at 0 and one deviation more, between
    which demand is as good as straight. State i has quantile (i + 1/2) / 64 of the first and one of the second that
    tells nothing of it, a lattice of rank 1.

    References
    ----------
    I. H. Sloan, S. Joe, Lattice Methods for Multiple Integration, 1994, chapter 1 (recalled).
    """
    even = (np.arange(STATES) + 0.5) / STATES
    states, second = ndtri(even), even[SECOND]
    nodes = [_demand_at(positions, spread, node) for node in NODES]
    mean = CubicSpline(NODES, np.stack([each.mean for each in nodes], axis=-1), axis=-1)(states)
    variance = CubicSpline(NODES, np.stack([each.variance for each in nodes], axis=-1), axis=-1)(states)
    if doubt.any():
        middle, more = nodes[len(NODES) // 2], _demand_at(_with_more(positions), spread, 0.0)
        away = _deviations(doubt, second)[:, None, :]
        mean = mean + (more.mean - middle.mean)[..., None] * away
        variance = variance + (more.variance - middle.variance)[..., None] * away
    mean = np.maximum(mean, 0.0)
    return mean, np.clip(variance, 0.0, mean)


def _demand_at(positions: Positions, spread: Floats, node: float) -> Demand:
    faster = np.exp(spread * node - spread**2 / 2)
    return expected_demand(positions, groups=len(spread), faster=faster[positions.group])


def _with_more(positions: Positions) -> Positions:
    """Other removals more frequent by one standard deviation of their factor."""
    hazards = positions.hazards
    return replace(positions, hazards=replace(hazards, total=hazards.total * (1.0 + hazards.doubt[:, None])))


def _deviations(doubt: Floats, levels: Floats) -> Floats:
    """Quantiles of the gamma factor in standard deviations from 1: (n_cells, n_levels)."""
    shape = 1.0 / np.maximum(doubt, 1e-6)[:, None] ** 2
    return np.where(doubt[:, None] > 0, (gammaincinv(shape, levels) / shape - 1.0) * np.sqrt(shape), 0.0)
