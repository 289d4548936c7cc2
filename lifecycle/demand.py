"""Expected removals of many positions by month: the brake fitted now, then those that follow it."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.causes import Hazards
from lifecycle.life import Passage, first_passage_cdf
from lifecycle.renewal import follow, month_masses, renewal_masses

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Positions whose mean life differs by less than this share the law of the brakes that follow (half of it at most off).
LIFE_STEP: Final = 0.04


@dataclass(frozen=True)
class Positions:
    """
    Brake positions in service and what wears there.

    Attributes
    ----------
    law : Passage
        Landings to the limit of the brake fitted now, n_positions brakes.
    usable_mm : array of shape (n_positions,)
        Wear from new to the limit of the brakes that follow, mm.
    rate, rate_var, path_sd : array of shape (n_positions,)
        Wear of a brake that follows: mean mm a landing, its variance between brakes, path noise mm per root landing.
    age : array of shape (n_positions,)
        Braked landings of the brake fitted now since it was new or overhauled.
    hazards : Hazards
        Removals for other reasons, by brake type and age.
    kind : array of int, shape (n_positions,)
        Row of `hazards` that a position's brakes have.
    group : array of int, shape (n_positions,)
        Row of the answer that a position counts towards.
    landings : array of shape (n_positions, n_months)
        Expected braked landings from now to each month's end.
    """

    law: Passage
    usable_mm: Floats
    rate: Floats
    rate_var: Floats
    path_sd: Floats
    age: Floats
    hazards: Hazards
    kind: Ints
    group: Ints
    landings: Floats


@dataclass(frozen=True)
class Demand:
    """Mean and variance of removals, each of shape (n_groups, n_months), given the common factors."""

    mean: Floats
    variance: Floats


def expected_demand(positions: Positions, *, groups: int, faster: npt.ArrayLike = 1.0) -> Demand:
    """
    Removals by group and month.

    Parameters
    ----------
    positions : Positions
        What is fitted and flown.
    groups : int
        How many groups.
    faster : array that broadcasts with (n_positions,)
        Common factor on landings, 1 as expected.

    Returns
    -------
    Demand
        Sums over positions of p and of p (1 - p), p the chance of a removal in the month.

    Notes
    -----
    Wear and the other causes are competing risks: what outlasts both has the product of their chances. A brake that
    follows begins at age 0, and so does its hazard.

    Each position runs on its own clock, on which the landings of a mean month are one unit: there the brake now fitted
    gives first-passage chances, and renewals follow by discrete convolution. Cumulative removals are then read off at
    the expected landings of each calendar month, so that a flying season or a plan needs no law of its own.
    """
    months = positions.landings.shape[1]
    flying = np.flatnonzero(positions.landings[:, -1] > 0)
    if not flying.size:
        return Demand(mean=np.zeros((groups, months)), variance=np.zeros((groups, months)))
    flown = positions.landings[flying] * np.broadcast_to(faster, positions.group.shape)[flying, None]
    a_month = flown[:, -1] / months
    first, due = _first(positions, flying, a_month, months)
    removals = np.zeros_like(first)
    for members, renewals in _laws_that_follow(positions, flying, a_month, months):
        removals[members] = follow(first[members], renewals)
    chance = _by_calendar(removals, due, flown / a_month[:, None])
    mean, variance = np.zeros((groups, months)), np.zeros((groups, months))
    np.add.at(mean, positions.group[flying], chance)
    np.add.at(variance, positions.group[flying], chance * np.maximum(1.0 - chance, 0.0))
    return Demand(mean=mean, variance=variance)


def _first(positions: Positions, flying: Ints, a_month: Floats, months: int) -> tuple[Floats, Floats]:
    """Chance that the brake fitted now goes in each month of its own clock (n, months), and at once (n,)."""
    law, kind, age = positions.law.at(flying), positions.kind[flying], positions.age[flying]
    so_far = positions.hazards.at(kind, age)
    by_end = np.empty((len(flying), months + 1))
    for month in range(months + 1):
        landings = a_month * month
        others = positions.hazards.at(kind, age + landings) - so_far
        by_end[:, month] = 1.0 - (1.0 - law.chance(landings)) * np.exp(-others)
    by_end = np.maximum.accumulate(by_end, axis=1)
    first = np.diff(by_end, axis=1)
    first[:, 0] += by_end[:, 0]
    return first, by_end[:, 0]


def _laws_that_follow(
    positions: Positions, flying: Ints, a_month: Floats, months: int
) -> Iterator[tuple[Ints, Floats]]:
    """Positions whose next brakes live alike, with the renewals of their shared law."""
    usable = positions.usable_mm[flying]
    rate = positions.rate[flying] * a_month / usable
    rate_var = positions.rate_var[flying] * (a_month / usable) ** 2
    path_sd = positions.path_sd[flying] * np.sqrt(a_month) / usable
    kind, spread = positions.kind[flying], np.sqrt(rate_var) / rate
    steps = [np.round(each / LIFE_STEP) for each in (np.log(rate), spread, np.log(a_month))]
    alike = np.stack([*steps, kind], axis=1)
    _, first, which = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    size = np.bincount(which)
    law = [
        np.bincount(which, values)[:, None, None] / size[:, None, None]
        for values in (rate, rate_var, path_sd, a_month)
    ]

    def life(ages: Floats) -> Floats:
        worn = first_passage_cdf(ages, remaining_mm=1.0, rate=law[0], rate_var=law[1], path_sd=law[2])
        others = positions.hazards.at(kind[first][:, None, None], law[3] * ages)
        return np.asarray(1.0 - (1.0 - worn) * np.exp(-others))

    renewals = renewal_masses(month_masses(life, months))
    order = np.argsort(which, kind="stable")
    for bucket, members in enumerate(np.split(order, np.cumsum(size)[:-1])):
        yield members, renewals[bucket]


def _by_calendar(removals: Floats, due: Floats, clock: Floats) -> Floats:
    """Removals between calendar month ends, which stand at `clock` on each position's own clock of mean months."""
    total = np.concatenate([due[:, None], np.cumsum(removals, axis=1)], axis=1)
    before = np.clip(np.floor(clock).astype(np.int64), 0, removals.shape[1] - 1)
    rows = np.arange(len(clock))[:, None]
    low = total[rows, before]
    by_then = low + (clock - before) * (total[rows, before + 1] - low)
    return np.diff(by_then, axis=1, prepend=0.0)
