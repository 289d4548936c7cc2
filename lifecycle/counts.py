"""Braked landings of each stay on an aircraft, and of its run by each reading."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from lifecycle.braking import Idle, anchored, braked_by, idle_landings, idle_spans, share_out
from lifecycle.days import FAR, BoolArray, FloatArray, IntArray, day_number
from lifecycle.landings import FlownDays
from lifecycle.observations import Records
from lifecycle.placed import Book, Placed
from lifecycle.runs import Stays
from lifecycle.starts import Starts


@dataclass(frozen=True)
class Count:
    """
    Braked landings of stays, arrays of shape (s,), and of readings, shape (n,).

    Attributes
    ----------
    before, within : array of float, shape (s,)
        Of the run when the stay began, and in the stay.
    at_reading : array of float, shape (n,)
        Of the run by each reading, in the order of `Placed`; never falling in time.
    clash : array of bool, shape (r,)
        Aircraft landings typed with a reading of the run put it before an earlier reading.
    idle : Idle
        When brakes were deactivated.
    """

    before: FloatArray
    within: FloatArray
    at_reading: FloatArray
    clash: BoolArray
    idle: Idle


def count_landings(book: Book, flown: FlownDays, starts: Starts) -> Count:
    """
    Braked landings of every stay and by every reading.

    Parameters
    ----------
    book : Book
        Needs aircraft, aircraft_types, brakes, installations and deactivations of its records; stays that last
        count through its day.
    flown : FlownDays
        Braked landings of the aircraft.
    starts : Starts
        Landings that runs brought along.

    Returns
    -------
    Count
        See there.
    """
    records, stays, placed = book.records, book.stays, book.placed
    idle = idle_spans(records, stays, book.on)
    counter_on, counter_off = _typed(records, stays)
    ended = np.minimum(stays.ended, day_number(book.on))
    flown = anchored(
        share_out(records, flown, stays, idle),
        np.concatenate([stays.aircraft, stays.aircraft, stays.aircraft[placed.stay]]),
        np.concatenate([stays.begun, ended, placed.day]),
        np.concatenate([counter_on, counter_off, placed.counter]),
    )
    begin = braked_by(flown, stays.aircraft, stays.begun, counter_on)
    every = np.arange(len(stays.brake))
    within = braked_by(flown, stays.aircraft, ended, counter_off) - begin
    within = np.maximum(within - idle_landings(flown, stays, idle, every, ended), 0.0)
    stay, day = placed.stay, np.minimum(placed.day, stays.ended[placed.stay])
    since = braked_by(flown, stays.aircraft[stay], day, placed.counter) - begin[stay]
    since -= idle_landings(flown, stays, idle, stay, day)
    most = np.where(stays.ended < FAR, within, np.inf)
    since = np.clip(np.where(placed.day < stays.begun[stay], 0.0, since), 0.0, most[stay])
    # A counter typed with a reading may know of landings that are not in the log yet.
    np.maximum.at(within, stay, since)
    before = _before(stays, starts, within)
    return Count(before, within, *_rising(stays, placed, before[stay] + since), idle)


def _typed(records: Records, stays: Stays) -> tuple[FloatArray, FloatArray]:
    """Aircraft landings typed with each installation and removal, NaN where not typed."""
    typed = records.installations[["aircraft_landings_on", "aircraft_landings_off"]].to_numpy(dtype=float)
    typed = np.vstack([typed, [np.nan, np.nan]])[stays.row]
    return typed[:, 0], np.where(stays.ended < FAR, typed[:, 1], np.nan)


def _before(stays: Stays, starts: Starts, within: FloatArray) -> FloatArray:
    earlier = np.cumsum(within) - within
    return earlier - earlier[stays.first][stays.run] + starts.landings_before[stays.run]


def _rising(stays: Stays, placed: Placed, at_reading: FloatArray) -> tuple[FloatArray, BoolArray]:
    run = stays.run[placed.stay]
    order = np.lexsort((placed.day, run))
    highest = pd.Series(at_reading[order]).groupby(run[order]).cummax().to_numpy()
    rising = np.empty(len(at_reading))
    rising[order] = highest
    clash = np.zeros(len(stays.first), dtype=np.bool_)
    clash[run[rising - at_reading > 1.0]] = True
    return rising, clash


def sums_by_run(stays: Stays, of_stay: IntArray) -> IntArray:
    """
    Add up a whole number over the stays of each run.

    Parameters
    ----------
    stays : Stays
        In r runs.
    of_stay : array of int64, shape (s,)
        One number a stay.

    Returns
    -------
    array of int64, shape (r,)
        Sums.
    """
    return np.bincount(stays.run, weights=of_stay, minlength=len(stays.first)).astype(np.int64)
