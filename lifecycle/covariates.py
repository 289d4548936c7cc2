"""What the wear rate of a run depends on: where it landed, and what its landings were like."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.pathfilter import Floats, Readings

Level = tuple[str, str]

FACTORS: Final = ("position_group", "base")
LANDINGS: Final = "landings"  # the factor whose levels are the counters of `landing_kinds`
# How far position groups and bases move a rate, as a fraction of it (common practice, no source).
EFFECT: Final = {"position_group": 0.1, "base": 0.25}


@dataclass(frozen=True)
class Kind:
    """A counter with a column of its own: its growth per landing less the type's average growth, its centre."""

    name: str
    centre: float

    @property
    def level(self) -> Level:
        """As a key of shares."""
        return (LANDINGS, self.name)


@dataclass(frozen=True)
class Covariates:
    """
    Columns of the design of one brake type.

    Attributes
    ----------
    levels : tuple of (str, str)
        Factor and level of each column after the first, which is all ones.
    seen : tuple of (str, str)
        Levels at which runs with readings have flown, those without a column of their own among them.
    dropped : tuple of str
        Why they have none, in words.
    kinds : tuple of Kind
        Counters with a column, after the levels.
    """

    levels: tuple[Level, ...]
    seen: tuple[Level, ...]
    dropped: tuple[str, ...] = ()
    kinds: tuple[Kind, ...] = ()

    def columns(self, shares: Mapping[Level, Floats], count: int) -> Floats:
        """
        Design of shape (count, 1 + levels + kinds) from the share of each level and the growth of each counter.

        Landings at levels never seen count as spread evenly over those of the factor that have a column; a counter not
        given counts as growing as it does on average.
        """
        factors = [factor for factor, _ in self.levels]
        unseen = {factor: self.unseen(shares, factor, count) for factor in set(factors)}
        none = np.zeros(count)
        spread = [
            shares.get(level, none) + unseen[level[0]] / factors.count(level[0]) for level in self.levels
        ]
        counted = [shares.get(kind.level, none + kind.centre) - kind.centre for kind in self.kinds]
        return np.column_stack([np.ones(count), *spread, *counted])

    def bent(self, readings: Readings, bends: Mapping[Level, Floats]) -> Readings:
        """Readings with the bends, each (n_readings, n_runs), of the levels and counters that have a column."""
        every = [*self.levels, *(kind.level for kind in self.kinds)]
        columns = tuple(1 + number for number, level in enumerate(every) if level in bends)
        if not columns:
            return readings
        bent = np.stack([bends[every[column - 1]] for column in columns])
        return replace(readings, bent=bent, bent_columns=columns)

    def unseen(self, shares: Mapping[Level, Floats], factor: str, count: int) -> Floats:
        """Share of the landings of each run, (count,), at levels of a factor where no run read has flown."""
        known = [shares[level] for level in self.seen if level[0] == factor and level in shares]
        return np.maximum(1.0 - sum(known), 0.0) if known else np.ones(count)

    def doubt(self, shares: Mapping[Level, Floats], count: int) -> Floats:
        """
        Variance of the rate for want of any record of a place, (count,), as a fraction of the rate squared.

        A brake at no place in particular, on the shelf, is not doubted for it.
        """
        total = np.zeros(count)
        for factor in FACTORS:
            nowhere = (
                np.zeros(count) if (factor, "") in self.seen else shares.get((factor, ""), np.zeros(count))
            )
            total += (EFFECT[factor] * np.maximum(self.unseen(shares, factor, count) - nowhere, 0.0)) ** 2
        return total


@dataclass(frozen=True)
class Spans:
    """
    Installations of some runs as arrays, one entry a span.

    Attributes
    ----------
    place : array of int
        Row of each span's run among the runs.
    first, last : array
        Landings of the run when it began and ended.
    levels : dict
        By factor, the names of its levels and the number of each span's.
    """

    place: npt.NDArray[np.int64]
    first: Floats
    last: Floats
    levels: Mapping[str, tuple[list[str], npt.NDArray[np.int64]]]

    @property
    def single(self) -> bool:
        """No run has more than one span."""
        return bool(np.bincount(self.place).max(initial=0) <= 1)


def spans_of(spans: pd.DataFrame, place: npt.NDArray[np.int64]) -> Spans:
    """Installations, as in `Runs`, of the runs in these rows, (n_spans,)."""
    levels = {factor: numbered(spans[factor]) for factor in FACTORS}
    return Spans(place, spans["landings_from"].to_numpy(float), spans["landings_to"].to_numpy(float), levels)


def shares_flown(spans: Spans, until: Floats, now: Mapping[Level, Floats]) -> dict[Level, Floats]:
    """
    Share of each run's landings that was flown at each level of each factor.

    Parameters
    ----------
    spans : Spans
        Installations of these runs.
    until : array of shape (n_runs,)
        Landings of the run to count to: those at its last usable reading.
    now : mapping
        From `shares_now`: the present position group and base stand where nothing was flown.

    Returns
    -------
    dict
        Arrays of shape (n_runs,) by factor and level; those of one factor sum to 1 in each run.
    """
    place = spans.place
    flown = np.maximum(np.minimum(spans.last, until[place]) - spans.first, 0.0)
    total = _summed(flown, place, until.size)
    still = total <= 0
    weight = np.divide(1.0, total, out=np.zeros_like(total), where=~still)
    shares: dict[Level, Floats] = {}
    for factor, (levels, code) in spans.levels.items():
        for number, level in enumerate(levels):
            at = np.where(code == number, flown * weight[place], 0.0)
            shares[factor, level] = _summed(at, place, until.size)
    for place_now, present in now.items():
        shares[place_now] = np.where(still, present, shares.get(place_now, 0.0))
    return shares


def bends_of_places(spans: Spans, landings: Floats, shares: Mapping[Level, Floats]) -> dict[Level, Floats]:
    """
    By how much the landings at each level run ahead of the level's share, for runs that changed it.

    Parameters
    ----------
    spans : Spans
        As in `shares_flown`.
    landings : array of shape (n_readings, n_runs)
        Of the run at each reading.
    shares : dict
        From `shares_flown`.

    Returns
    -------
    dict
        Arrays of shape (n_readings, n_runs) by factor and level; levels at which no run came or went are left out.
    """
    bends: dict[Level, Floats] = {}
    if spans.single:
        return bends
    place, first, last = spans.place, spans.first, spans.last
    began = np.full(landings.shape[1], np.inf)
    np.minimum.at(began, place, first)
    for factor, (levels, code) in spans.levels.items():
        lowest = np.full(landings.shape[1], len(levels))
        np.minimum.at(lowest, place, code)
        moved = np.zeros(landings.shape[1], dtype=np.bool_)
        moved[place[code != lowest[place]]] = True
        for number, level in enumerate(levels):
            rows = np.flatnonzero((code == number) & moved[place])
            if not rows.size:
                continue
            bend = np.zeros_like(landings)
            flown = np.clip(landings[:, place[rows]] - first[rows], 0.0, (last - first)[rows])
            np.add.at(bend.T, place[rows], flown.T)
            even = np.maximum(landings[:, moved] - began[moved], 0.0)
            bend[:, moved] -= shares[factor, level][moved] * even
            bends[factor, level] = bend
    return bends


def numbered(names: pd.Series) -> tuple[list[str], npt.NDArray[np.int64]]:
    """The different names in order, and the number of each; hashing takes half the time of sorting."""
    at = names.to_numpy(object)
    levels = sorted(set(at))
    number = {level: place for place, level in enumerate(levels)}
    return levels, np.fromiter(map(number.__getitem__, at), dtype=np.int64, count=len(at))


def _summed(values: Floats, place: npt.NDArray[np.int64], count: int) -> Floats:
    return np.bincount(place, weights=values, minlength=count).astype(np.float64)


def shares_at(position_group: str, base: str) -> dict[Level, Floats]:
    """Shares of one brake at one level of each factor; "" stands for no place in particular."""
    return {("position_group", position_group): np.ones(1), ("base", base): np.ones(1)}


def shares_now(now: pd.DataFrame) -> dict[Level, Floats]:
    """1 at the level each run is at, else 0, by factor and level."""
    shares: dict[Level, Floats] = {}
    for factor in FACTORS:
        levels, code = numbered(now[factor])
        for number, level in enumerate(levels):
            shares[factor, level] = (code == number).astype(np.float64)
    return shares


def choose(shares: Mapping[Level, Floats], told: npt.NDArray[np.bool_]) -> Covariates:
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
    kept: dict[Level, Floats] = {}
    shared, dropped = [], []
    places = [(level, shares[level]) for level in sorted(shares) if level[0] in FACTORS]
    for (factor, level), share in places:
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
    flown_at = tuple(level for level, share in places if share[told].any())
    return Covariates(tuple(kept), flown_at, tuple(dropped))
