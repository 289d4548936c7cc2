"""What the wear rate of a run depends on: the share of its landings in each position group and at each base."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.pathfilter import Floats

FACTORS: Final = ("position_group", "base")


@dataclass(frozen=True)
class Covariates:
    """
    Columns of the design of one brake type.

    Attributes
    ----------
    levels : tuple of (str, str)
        Factor and level of each column after the first, which is all ones.
    dropped : tuple of str
        Why other columns are not there, in words.
    """

    levels: tuple[tuple[str, str], ...]
    dropped: tuple[str, ...] = ()

    def columns(self, shares: dict[tuple[str, str], Floats], count: int) -> Floats:
        """Design of shape (count, 1 + levels) from the shares of each factor and level; an unseen level is zeros."""
        none = np.zeros(count)
        return np.column_stack([np.ones(count), *(shares.get(level, none) for level in self.levels)])


def shares_flown(
    spans: pd.DataFrame, place: npt.NDArray[np.int64], until: Floats, now: pd.DataFrame
) -> dict[tuple[str, str], Floats]:
    """
    Share of each run's landings that was flown at each level of each factor.

    Parameters
    ----------
    spans : DataFrame
        Installations of these runs, as in `Runs`.
    place : array of int, shape (n_spans,)
        Row of each span's run in `until`.
    until : array of shape (n_runs,)
        Landings of the run to count to: those at its last usable reading.
    now : DataFrame
        The runs, whose present position group and base stand where nothing was flown.

    Returns
    -------
    dict
        Arrays of shape (n_runs,) by factor and level; those of one factor sum to 1 in each run.
    """
    first, last = spans["landings_from"].to_numpy(float), spans["landings_to"].to_numpy(float)
    flown = np.maximum(np.minimum(last, until[place]) - first, 0.0)
    total = _summed(flown, place, until.size)
    still = total <= 0
    weight = np.divide(1.0, total, out=np.zeros_like(total), where=~still)
    shares: dict[tuple[str, str], Floats] = {}
    for factor in FACTORS:
        levels, code = np.unique(spans[factor].to_numpy(str), return_inverse=True)
        for number, level in enumerate(levels):
            at = np.where(code == number, flown * weight[place], 0.0)
            shares[factor, str(level)] = _summed(at, place, until.size)
        for (kind, level), present in shares_now(now).items():
            if kind == factor:
                shares[factor, level] = np.where(still, present, shares.get((factor, level), 0.0))
    return shares


def _summed(values: Floats, place: npt.NDArray[np.int64], count: int) -> Floats:
    return np.bincount(place, weights=values, minlength=count).astype(np.float64)


def shares_now(now: pd.DataFrame) -> dict[tuple[str, str], Floats]:
    """1 at the level each run is at, else 0, by factor and level."""
    shares: dict[tuple[str, str], Floats] = {}
    for factor in FACTORS:
        at = now[factor].to_numpy(str)
        for level in np.unique(at):
            shares[factor, str(level)] = (at == level).astype(np.float64)
    return shares


def choose(shares: dict[tuple[str, str], Floats], told: npt.NDArray[np.bool_]) -> Covariates:
    """
    Columns that the runs with readings can tell apart.

    Parameters
    ----------
    shares : dict
        From `shares_flown`.
    told : array of bool, shape (n_runs,)
        Runs with a usable reading.

    Returns
    -------
    Covariates
        A level that no run or every run shares, and one that repeats another, is dropped and named.
    """
    kept: dict[tuple[str, str], Floats] = {}
    shared, dropped = [], []
    for (factor, level), share in sorted(shares.items()):
        seen = share[told]
        name = f"{factor.replace('_', ' ')} {level or 'not recorded'}"
        twin = next(
            (other for other, column in kept.items() if np.allclose(column, seen, rtol=0, atol=1e-9)), None
        )
        if not seen.any():
            continue
        if (seen > 1.0 - 1e-9).all():
            shared.append(name)
        elif twin is not None:
            dropped.append(
                f"{name} cannot be told from {twin[0].replace('_', ' ')} {twin[1]}: one effect for both"
            )
        else:
            kept[factor, level] = seen
    if shared:
        dropped.append(f"every run read is at {', '.join(shared)}: no effect of it can be told")
    return Covariates(tuple(kept), tuple(dropped))


def row_at(covariates: Covariates, at: Mapping[str, str]) -> Floats:
    """
    Design row of a brake at one level of each factor.

    Parameters
    ----------
    covariates : Covariates
        Columns of the design.
    at : mapping of str to str
        Level by factor; one that the columns do not know, or none, counts as the average of those they know.

    Returns
    -------
    array of shape (1 + levels,)
        One, then the share of each level.
    """
    factors = [factor for factor, _ in covariates.levels]
    shares = []
    for factor, level in covariates.levels:
        known = (factor, at.get(factor, "")) in covariates.levels
        shares.append(float(at.get(factor) == level) if known else 1.0 / factors.count(factor))
    return np.array([1.0, *shares])
