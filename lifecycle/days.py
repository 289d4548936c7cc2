"""Days as whole numbers, and (thing, day) pairs as one sortable number."""

import datetime as dt
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# A key is code * 2^20 + day + 2^19: room for 700 years either side of 1970 and for 2^43 things.
DAY_BITS: Final = 20
DAY_ZERO: Final = 1 << 19
FAR: Final = DAY_ZERO // 2  # a day that never comes; minus FAR is one before all records


def day_number(day: dt.date) -> int:
    """
    One day as a whole number.

    Parameters
    ----------
    day : date
        A calendar day.

    Returns
    -------
    int
        Days since 1970-01-01.
    """
    return int(np.datetime64(day, "D").astype(np.int64))


def day_numbers(days: pd.Series, missing: int = FAR) -> IntArray:
    """
    Days of a frame's column as whole numbers.

    Parameters
    ----------
    days : Series of datetime64, shape (n,)
        Days at midnight, NaT where not known.
    missing : int
        What NaT becomes.

    Returns
    -------
    array of int64, shape (n,)
        Days since 1970-01-01.
    """
    as_days = days.to_numpy(dtype="datetime64[D]")
    return np.where(np.isnat(as_days), missing, as_days.astype(np.int64))


def to_days(numbers: IntArray) -> npt.NDArray[np.datetime64]:
    """
    Day numbers back as days, ``FAR`` and ``-FAR`` as NaT.

    Parameters
    ----------
    numbers : array of int64, shape (n,)
        Days since 1970-01-01.

    Returns
    -------
    array of datetime64[s], shape (n,)
        Midnight of each day.
    """
    known = np.where(np.abs(numbers) >= FAR, np.iinfo(np.int64).min, numbers)
    return known.astype("datetime64[D]").astype("datetime64[s]")


def keys(code: IntArray, day: IntArray) -> IntArray:
    """
    Sortable number of each (thing, day).

    Parameters
    ----------
    code, day : arrays of int64, shape (n,)
        Position of the thing in its list, and day number.

    Returns
    -------
    array of int64, shape (n,)
        Grows with the thing first, then with the day.
    """
    return (code << DAY_BITS) + (day + DAY_ZERO)


def key_day(key: IntArray) -> IntArray:
    """
    Day number of a key.

    Parameters
    ----------
    key : array of int64, shape (n,)
        From `keys`.

    Returns
    -------
    array of int64, shape (n,)
        Days since 1970-01-01.
    """
    return (key & ((1 << DAY_BITS) - 1)) - DAY_ZERO


def latest(sorted_keys: IntArray, code: IntArray, day: IntArray) -> IntArray:
    """
    Where the last entry of a thing on or before a day stands.

    Parameters
    ----------
    sorted_keys : array of int64, shape (n,)
        Ascending keys.
    code, day : arrays of int64, shape (m,)
        What is asked for.

    Returns
    -------
    array of int64, shape (m,)
        Index into ``sorted_keys``, -1 where the thing has no entry by then.
    """
    found = np.searchsorted(sorted_keys, keys(code, day), side="right") - 1
    if not len(sorted_keys):
        return found
    return np.where((found >= 0) & (sorted_keys[found] >> DAY_BITS == code), found, -1)


def count_by(sorted_keys: IntArray, code: IntArray, day: IntArray) -> IntArray:
    """
    How many entries each thing has on or before a day.

    Parameters
    ----------
    sorted_keys : array of int64
        Ascending keys.
    code, day : arrays of int64, shape (n,)
        Thing and day number.

    Returns
    -------
    array of int64, shape (n,)
        Counts.
    """
    upto = np.searchsorted(sorted_keys, keys(code, day), side="right")
    return upto - np.searchsorted(sorted_keys, code << DAY_BITS, side="left")


def among(key: IntArray, sorted_keys: IntArray) -> BoolArray:
    """
    Whether each key is one of a list.

    Parameters
    ----------
    key : array of int64, shape (n,)
        What is asked for; quickest where it ascends too.
    sorted_keys : array of int64
        Ascending keys.

    Returns
    -------
    array of bool, shape (n,)
        True for those in the list.
    """
    if not len(sorted_keys):
        return np.zeros(len(key), dtype=np.bool_)
    at = np.minimum(np.searchsorted(sorted_keys, key), len(sorted_keys) - 1)
    return np.asarray(sorted_keys[at] == key)
