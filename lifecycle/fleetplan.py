"""Ways to go about a retrofit: when each aircraft is converted, and the year tables that follow from it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.fleetscope import MONTHS, Scope

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

NEVER: Final = 1_000_000
LIVES: Final = 64


@dataclass(frozen=True)
class YearTables:
    """
    Flying of a fleet by year under one plan, H years ahead.

    Attributes
    ----------
    keep, old, new : array of float, shape (H,)
        Braked landings times brakes: on the legacy type were nothing changed; on each type under the plan.
    lives : array of float, shape (K,)
        Landings per heat sink life, rising.
    beyond : array of float, shape (K, H)
        Landings times brakes on new brakes past their first heat sink life of so many landings, summed to each year.
    converted, brakes : array of float, shape (H, n_places)
        Aircraft converted in each year, and the brakes changed on them.
    places : tuple of (aircraft_type, base)
        Places of the columns.
    life_left : float
        Landings times brakes left on the legacy brakes of all aircraft.
    last : int
        Year of the last conversion, 0 the first; -1 where none is converted.
    """

    keep: FloatArray
    old: FloatArray
    new: FloatArray
    lives: FloatArray
    beyond: FloatArray
    converted: FloatArray
    brakes: FloatArray
    places: tuple[tuple[str, str], ...]
    life_left: float
    last: int


def all_at_once(scope: Scope) -> IntArray:
    """
    Months of conversion, were every aircraft converted now.

    Parameters
    ----------
    scope : Scope
        The aircraft.

    Returns
    -------
    array of int64, shape (n,)
        Month 0, `NEVER` for aircraft that will not fly again.
    """
    return _only_flying(scope, np.zeros(len(scope.aircraft), dtype=np.int64))


def as_worn(scope: Scope) -> IntArray:
    """
    Months of conversion, were each aircraft converted when its legacy brakes are worn.

    Parameters
    ----------
    scope : Scope
        The aircraft.

    Returns
    -------
    array of int64, shape (n,)
        The month in which the mean life left on its brakes runs out; `NEVER` where it retires before.
    """
    worn = scope.cumulative >= scope.life_left[:, None]
    month = np.where(worn.any(axis=1), np.argmax(worn, axis=1), NEVER)
    return _only_flying(scope, month.astype(np.int64))


def phased(scope: Scope, *, slots_per_month: float | None, most_a_year: int | None) -> IntArray:
    """
    Months of conversion within slots and budget, aircraft with most landings ahead first.

    Parameters
    ----------
    scope : Scope
        The aircraft.
    slots_per_month : float or None
        Aircraft that can be converted in a month; a half is one every other month. None is no limit.
    most_a_year : int or None
        Aircraft that a year's budget pays for; None is no limit.

    Returns
    -------
    array of int64, shape (n,)
        Months from now; `NEVER` where the aircraft has retired by then, or no budget pays for any.
    """
    ahead = scope.cumulative[:, -1] * scope.brakes
    rank = np.empty(len(ahead), dtype=np.int64)
    rank[np.argsort(-ahead, kind="stable")] = np.arange(len(ahead))
    slots = float(len(rank)) if slots_per_month is None else slots_per_month
    budget = len(rank) if most_a_year is None else most_a_year
    if slots <= 0 or budget <= 0:
        return np.full(len(rank), NEVER, dtype=np.int64)
    in_a_year = min(budget, max(int(slots * MONTHS), 1)) if most_a_year is not None else len(rank)
    year, in_year = np.divmod(rank, in_a_year)
    month = np.maximum(year * MONTHS + np.floor(in_year / slots), np.floor(rank / slots))
    return _only_flying(scope, np.minimum(month, NEVER).astype(np.int64))


def within_limits(month: IntArray, *, slots_per_month: float | None, most_a_year: int | None) -> bool:
    """
    Whether a plan keeps to slots and budget.

    Parameters
    ----------
    month : array of int64, shape (n,)
        Months of conversion.
    slots_per_month, most_a_year : float or None, int or None
        As in `phased`.

    Returns
    -------
    bool
        No month has more aircraft than its slots (rounded up, at least 1), no year more than the budget pays for.
    """
    going = month[month < NEVER]
    if not len(going):
        return True
    slots = np.inf if slots_per_month is None else max(np.ceil(slots_per_month), 1.0)
    most = np.inf if most_a_year is None else most_a_year
    return bool(np.bincount(going).max() <= slots and np.bincount(going // MONTHS).max() <= most)


def _only_flying(scope: Scope, month: IntArray) -> IntArray:
    """Leave alone the aircraft that have no landings left after their month."""
    at = np.minimum(month, scope.cumulative.shape[1] - 1)
    left = scope.cumulative[:, -1] - scope.cumulative[np.arange(len(month)), at]
    return np.where((month < NEVER) & (left > 0) & (scope.brakes > 0), month, NEVER)


def tabulate(scope: Scope, month: IntArray, *, life: float) -> YearTables:
    """
    Add a plan up by year.

    Parameters
    ----------
    scope : Scope
        The aircraft.
    month : array of int64, shape (n,)
        When each is converted.
    life : float
        Landings per heat sink life of the new type as best known; it becomes one of ``lives``, so that reading the
        table there is exact.

    Returns
    -------
    YearTables
        For any number of draws at once, whatever the size of the fleet.
    """
    ends = scope.cumulative[:, ::MONTHS]
    at = np.minimum(month, scope.cumulative.shape[1] - 1)
    when = scope.cumulative[np.arange(len(month)), at][:, None]
    when = np.where((month < NEVER)[:, None], when, np.inf)
    on_old, on_new = np.minimum(ends, when), np.maximum(ends - when, 0.0)
    weight = scope.brakes
    lives = np.unique(np.append(np.linspace(0.0, max(float(on_new.max()), 1.0), LIVES), life))
    beyond = np.stack([weight @ np.maximum(on_new[:, 1:] - one, 0.0) for one in lives])
    places = tuple(sorted(set(scope.place)))
    column = np.array([places.index(place) for place in scope.place])
    converted, brakes = np.zeros((2, scope.years, len(places)))
    going = month < NEVER
    np.add.at(converted, (month[going] // MONTHS, column[going]), 1.0)
    np.add.at(brakes, (month[going] // MONTHS, column[going]), weight[going])
    return YearTables(
        keep=weight @ np.diff(ends, axis=1),
        old=weight @ np.diff(on_old, axis=1),
        new=weight @ np.diff(on_new, axis=1),
        lives=lives,
        beyond=beyond,
        converted=converted,
        brakes=brakes,
        places=places,
        life_left=float(weight @ scope.life_left),
        last=int(month[going].max() // MONTHS) if going.any() else -1,
    )
