"""Landings of every aircraft by month, on the days that can teach how much it flies."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.aircraft import grounded_spans
from lifecycle.days import DAY_BITS, BoolArray, FloatArray, IntArray, among, day_number, key_day, keys
from lifecycle.landings import FlownDays
from lifecycle.observations import Records

IDLE_DAYS: Final = 14  # longer without a landing, and the aircraft was not in use
ZEROS_WRITTEN: Final = (
    0.1  # share of idle days with a zero row from which a log is taken to write its zeros down
)
MONTHS_BACK: Final = 120


@dataclass(frozen=True)
class FlownMonths:
    """
    The log by aircraft and month.

    Attributes
    ----------
    first_month : int
        Months since January 1970 of the first column; the last is the month of ``on``.
    landings, days : arrays of float, shape (a, m)
        Braked landings, and the days that they fell on or could have.
    """

    first_month: int
    landings: FloatArray
    days: FloatArray


def month_numbers(day: IntArray) -> IntArray:
    """
    Months since January 1970.

    Parameters
    ----------
    day : array of int64, any shape
        Day numbers.

    Returns
    -------
    array of int64, same shape
        Month numbers.
    """
    return day.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)


def month_begins(month: IntArray) -> IntArray:
    """
    First day of months.

    Parameters
    ----------
    month : array of int64, any shape
        Months since January 1970.

    Returns
    -------
    array of int64, same shape
        Day numbers.
    """
    return month.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)


def flown_months(records: Records, flown: FlownDays, on: dt.date) -> FlownMonths:
    """
    Add the log up by aircraft and month.

    Parameters
    ----------
    records : Records
        Needs aircraft and aircraft_changes.
    flown : FlownDays
        From `landings.fly_days`.
    on : date
        The last day.

    Returns
    -------
    FlownMonths
        At most ten years.

    Notes
    -----
    A day counts if it has landings, or none on record between two days of flying at most `IDLE_DAYS` apart. A
    missing row is such an idle day only in a log that does not write its zeros down. Days on which the aircraft
    was stored, in check, leased out, sold, not yet or no longer in service teach nothing, nor do longer spells
    without landings, nor blanks.
    """
    last_month = int(month_numbers(np.array([day_number(on)]))[0])
    value = np.diff(flown.braked)
    spells = _spells(flown.key, value > 0)
    seen = _seen_rows(flown, value > 0, spells)
    idle = _unwritten_days(flown, value > 0, spells)
    grounded = grounded_spans(records)
    seen &= ~_covered(flown.key, *grounded)
    idle = idle[~_covered(idle, *grounded) & ~among(idle, flown.unreported)]
    day = key_day(flown.key[seen])
    oldest = int(month_numbers(day.min(keepdims=True))[0]) if len(day) else last_month
    first_month = max(oldest, last_month - MONTHS_BACK + 1)
    shape = (len(records.aircraft), last_month - first_month + 1)
    key = np.concatenate([flown.key[seen], idle])
    weight = np.concatenate([value[seen], np.zeros(len(idle))])
    column = month_numbers(key_day(key)) - first_month
    cell = (key >> DAY_BITS) * shape[1] + column
    kept = column >= 0
    landings = np.bincount(cell[kept], weights=weight[kept], minlength=shape[0] * shape[1]).astype(float)
    days = np.bincount(cell[kept], minlength=shape[0] * shape[1]).astype(float)
    return FlownMonths(first_month, landings.reshape(shape), days.reshape(shape))


@dataclass(frozen=True)
class _Spells:
    """Spells without landings, one after each day of flying: its row and the idle days to the next, or to the end."""

    row: IntArray
    days: IntArray


def _spells(key: IntArray, flew: BoolArray) -> _Spells:
    row = np.flatnonzero(flew)
    code, day = key[row] >> DAY_BITS, key_day(key[row])
    ends = np.flatnonzero(np.append(np.diff(key >> DAY_BITS) != 0, True)[: len(key)])
    last_row_of = ends[np.searchsorted(ends, row)]
    following = np.append(day[1:], 0)
    same = np.append(code[1:] == code[:-1], False)[: len(row)]
    return _Spells(row, np.where(same, following - day - 1, key_day(key[last_row_of]) - day))


def _seen_rows(flown: FlownDays, flew: BoolArray, spells: _Spells) -> BoolArray:
    """Rows with landings, and rows without in spells short enough."""
    spell = np.cumsum(flew) - 1
    short = np.append(spells.days <= IDLE_DAYS, False)[spell]
    same = np.append(flown.key[spells.row] >> DAY_BITS, -1)[spell] == flown.key >> DAY_BITS
    return np.asarray(flew | (short & same & (spell >= 0)))


def _unwritten_days(flown: FlownDays, flew: BoolArray, spells: _Spells) -> IntArray:
    """Keys of days without a row in short spells, for aircraft whose log does not write zeros down."""
    code = flown.key[spells.row] >> DAY_BITS
    inner = np.append(code[1:] == code[:-1], False)[: len(code)]
    short = inner & (spells.days <= IDLE_DAYS) & (spells.days > 0)
    aircraft = len(flown.aircraft)
    idle_days = np.bincount(code[short], weights=spells.days[short], minlength=aircraft)
    zeros = np.bincount(flown.key[~flew] >> DAY_BITS, minlength=aircraft)
    silent = short & (zeros < ZEROS_WRITTEN * idle_days)[code]
    length = spells.days[silent]
    start = np.repeat(flown.key[spells.row[silent]] + 1, length)
    key = start + np.arange(len(start)) - np.repeat(np.cumsum(length) - length, length)
    return np.asarray(key[~among(key, flown.key)])


def _covered(key: IntArray, code: IntArray, begun: IntArray, ended: IntArray) -> BoolArray:
    """Which ascending keys lie in spans from ``begun`` until before ``ended``."""
    change = np.zeros(len(key) + 1, dtype=np.int64)
    np.add.at(change, np.searchsorted(key, keys(code, begun)), 1)
    np.add.at(change, np.searchsorted(key, keys(code, ended)), -1)
    return np.cumsum(change)[:-1] > 0
