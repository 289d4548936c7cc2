"""The flying plan: landings of an aircraft or a base in a month, where somebody has planned them."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.days import FloatArray, IntArray, day_numbers
from lifecycle.flown_months import month_numbers
from lifecycle.landings import codes_of
from lifecycle.observations import Records


def planned_landings(
    records: Records, this_month: int, base: npt.NDArray[np.object_], level: FloatArray
) -> FloatArray:
    """
    Planned landings by aircraft and month.

    Parameters
    ----------
    records : Records
        Needs aircraft and flying_plan.
    this_month : int
        Month of the first column, months since January 1970; earlier rows are left out.
    base : array of str, shape (a,)
        Base of each aircraft, "" for one that takes no part in a base's plan.
    level : array of float, shape (a,)
        Landings a day, by which a base's landings are shared out.

    Returns
    -------
    array of float, shape (a, m)
        Landings of the whole month; NaN where nothing is planned.

    Notes
    -----
    A row for an aircraft goes before one for its base. What a base plans beyond the rows of its own aircraft is
    shared among its others in proportion to their recent flying. Of two rows for the same thing the last recorded
    holds.
    """
    plan = records.flying_plan
    month = month_numbers(day_numbers(plan["month"])) - this_month
    plan, month = plan[month >= 0], month[month >= 0]
    months = int(month.max()) + 1 if len(month) else 0
    landings = plan["landings"].to_numpy(dtype=float)
    own = plan["aircraft"].notna().to_numpy()
    ids = pd.Index(records.aircraft["aircraft"])
    planned = np.full((len(ids), months), np.nan)
    code = codes_of(ids, plan["aircraft"][own].astype("int64"), "aircraft in flying_plan")
    planned[code, month[own]] = landings[own]
    bases, at = np.unique(plan["base"].to_numpy(dtype=object)[~own].astype(str), return_inverse=True)
    of_base = np.full((len(bases), months), np.nan)
    of_base[at, month[~own]] = landings[~own]
    for name, total in zip(bases, of_base, strict=True):
        members = np.flatnonzero(base == name)
        planned[members] = _shared(planned[members], total, level[members])
    return planned


def _shared(planned: FloatArray, total: FloatArray, level: FloatArray) -> FloatArray:
    """Rows of the aircraft of one base, their gaps filled with what is left of the base's total."""
    gap = np.isnan(planned)
    weight = gap * (level if level.sum() > 0 else np.ones_like(level))[:, None]
    whole = weight.sum(axis=0)
    left = np.maximum(total - np.nansum(planned, axis=0), 0.0)
    share = np.divide(weight, whole, out=np.full_like(weight, np.nan), where=whole > 0) * left
    return np.where(gap, share, planned)


def cumulative(planned: FloatArray, expected: FloatArray, first_share: float) -> FloatArray:
    """
    Landings by the end of each month, planned where planned, else expected.

    Parameters
    ----------
    planned : array of float, shape (p, m)
        Landings of whole months, NaN where not planned.
    expected : array of float, shape (p, m)
        Landings expected in each month, of the first in what is left of it.
    first_share : float
        Part of the first month that is left.

    Returns
    -------
    array of float, shape (p, m + 1)
        Begins with 0.
    """
    left = planned.copy()
    left[:, :1] *= first_share
    monthly = np.where(np.isnan(left), expected, left)
    return np.concatenate([np.zeros((len(monthly), 1)), np.cumsum(monthly, axis=1)], axis=1)


def along_rows(rows: FloatArray, row: IntArray, edges: FloatArray, day: FloatArray) -> FloatArray:
    """
    Read a piecewise linear curve of each row at a day.

    Parameters
    ----------
    rows : array of float, shape (p, m + 1)
        Values at the edges.
    row : array of int64, shape (n,)
        Which row.
    edges : array of float, shape (m + 1,)
        Days, ascending.
    day : array of float, shape (n,)
        Day asked for; beyond the edges the outer value.

    Returns
    -------
    array of float, shape (n,)
        Values.
    """
    at = np.clip(np.searchsorted(edges, day, side="left"), 1, len(edges) - 1)
    share = np.clip((day - edges[at - 1]) / np.maximum(edges[at] - edges[at - 1], 1e-9), 0.0, 1.0)
    return np.asarray(rows[row, at - 1] + share * (rows[row, at] - rows[row, at - 1]))


def first_day_along(rows: FloatArray, row: IntArray, edges: FloatArray, value: FloatArray) -> FloatArray:
    """
    Find the day on which the curve of each row first reaches a value.

    Parameters
    ----------
    rows, row, edges
        As for `along_rows`; rows do not fall.
    value : array of float, shape (n,)
        What is to be reached.

    Returns
    -------
    array of float, shape (n,)
        Days; inf where the row ends below the value.
    """
    low, high = np.zeros(len(row), dtype=np.int64), np.full(len(row), len(edges) - 1)
    while (high - low > 1).any():  # halving keeps memory at one number a question
        middle = (low + high) // 2
        reached = rows[row, middle] >= value
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    before, by_then = rows[row, low], rows[row, high]
    share = np.clip((value - before) / np.where(by_then > before, by_then - before, 1.0), 0.0, 1.0)
    day = edges[low] + share * (edges[high] - edges[low])
    return np.where(rows[row, -1] < value, np.inf, day)
