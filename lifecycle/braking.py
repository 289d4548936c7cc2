"""Who brakes: a deactivated brake has no braked landings and its neighbours more; counters decide within a day."""

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from lifecycle.aircraft import positions_on_type
from lifecycle.days import DAY_BITS, FAR, FloatArray, IntArray, day_number, day_numbers, key_day, keys, latest
from lifecycle.landings import FlownDays, codes_of
from lifecycle.observations import Records
from lifecycle.runs import Stays


@dataclass(frozen=True)
class Idle:
    """Spans, ascending by stay, in which a fitted brake did not brake: landings after ``begun`` through ``ended``."""

    stay: IntArray
    begun: IntArray
    ended: IntArray


def idle_spans(records: Records, stays: Stays, on: dt.date) -> Idle:
    """
    When fitted brakes were deactivated.

    Parameters
    ----------
    records : Records
        Needs brakes and deactivations.
    stays : Stays
        From `runs.lay_out`.
    on : date
        Later deactivations are left out.

    Returns
    -------
    Idle
        Clipped to the installations and joined where they overlap. By the day rule the landings of the day of
        the deactivation were still braked, and those of the day it ended were not.
    """
    off = records.deactivations
    off = off[day_numbers(off["from_on"]) <= day_number(on)]
    brake = codes_of(pd.Index(records.brakes["brake"]), off["brake"], "brake in deactivations")
    spans = pd.DataFrame(
        {"brake": brake, "since": day_numbers(off["from_on"]), "until": day_numbers(off["to_on"])}
    )
    concerned = np.flatnonzero(np.isin(stays.brake, brake))
    fitted = pd.DataFrame(
        {
            "brake": stays.brake[concerned],
            "stay": concerned,
            "begun": stays.begun[concerned],
            "ended": stays.ended[concerned],
        }
    )
    both = fitted.merge(spans, on="brake")
    begun = np.maximum(both["begun"].to_numpy(), both["since"].to_numpy())
    ended = np.minimum(both["ended"].to_numpy(), both["until"].to_numpy())
    some = begun < ended
    return _joined(both["stay"].to_numpy()[some], begun[some], ended[some])


def _joined(stay: IntArray, begun: IntArray, ended: IntArray) -> Idle:
    """Union of the spans of each stay."""
    order = np.argsort(keys(stay, begun), kind="stable")
    stay, begun, ended = stay[order], begun[order], ended[order]
    reach = np.maximum.accumulate(keys(stay, ended))
    starts = np.append(True, keys(stay, begun)[1:] > reach[:-1])[: len(stay)]
    at = np.flatnonzero(starts)
    last = np.append(at[1:], len(stay))[: len(at)] - 1
    return Idle(stay=stay[at], begun=begun[at], ended=key_day(reach[last]))


def share_out(records: Records, flown: FlownDays, stays: Stays, idle: Idle) -> FlownDays:
    """
    Let the brakes that work take over what deactivated ones leave.

    Parameters
    ----------
    records : Records
        Needs aircraft and aircraft_types.
    flown : FlownDays
        Braked landings of the aircraft.
    stays : Stays
        From `runs.lay_out`.
    idle : Idle
        From `idle_spans`.

    Returns
    -------
    FlownDays
        ``braked`` is now that of each working brake: landings times N/(N - k), with N brake positions of the
        type and k deactivated brakes that day (0 where none works).
    """
    if not len(idle.stay):
        return flown
    aircraft = stays.aircraft[idle.stay]
    out = np.zeros(len(flown.key) + 1, dtype=np.int64)
    np.add.at(out, flown.index(aircraft, idle.begun), 1)
    np.add.at(out, flown.index(aircraft, idle.ended), -1)
    positions = positions_on_type(records)[flown.key >> DAY_BITS]
    working = positions - np.cumsum(out)[:-1]
    share = np.where(working > 0, positions / np.maximum(working, 1), 0.0)
    return replace(flown, braked=np.concatenate([[0.0], np.cumsum(np.diff(flown.braked) * share)]))


def idle_landings(flown: FlownDays, stays: Stays, idle: Idle, stay: IntArray, day: IntArray) -> FloatArray:
    """
    Landings of the working brakes that a brake missed since its installation, by a day.

    Parameters
    ----------
    flown : FlownDays
        From `share_out`.
    stays, idle : Stays, Idle
        Installations and their idle spans.
    stay, day : arrays of int64, shape (n,)
        Installation asked about, and day number.

    Returns
    -------
    array of float, shape (n,)
        Braked landings, 0 for a brake that was never deactivated.
    """
    asked = np.flatnonzero(np.isin(stay, idle.stay))
    pairs = pd.DataFrame({"stay": stay[asked], "asked": asked, "day": day[asked]}).merge(
        pd.DataFrame({"stay": idle.stay, "begun": idle.begun, "ended": idle.ended}), on="stay"
    )
    aircraft, begun = stays.aircraft[pairs["stay"].to_numpy()], pairs["begun"].to_numpy()
    until = np.clip(pairs["day"].to_numpy(), begun, pairs["ended"].to_numpy())
    missed = flown.braked_through(aircraft, until) - flown.braked_through(aircraft, begun)
    return np.bincount(pairs["asked"].to_numpy(), weights=missed, minlength=len(stay)).astype(float)


def anchored(flown: FlownDays, code: IntArray, day: IntArray, counter: FloatArray) -> FlownDays:
    """
    Give aircraft without running totals in the log the first counter value typed elsewhere.

    Parameters
    ----------
    flown : FlownDays
        Landings by day, with what running totals the log has.
    code, day : arrays of int64, shape (n,)
        Aircraft and day number of each value typed with an installation or a reading.
    counter : array of float, shape (n,)
        Aircraft landings, NaN where not typed.

    Returns
    -------
    FlownDays
        With at least one total for each aircraft that has any value: enough to place the others relative to it.
    """
    wanted = ~np.isnan(counter) & ~np.isin(code, flown.total_key >> DAY_BITS)
    key, value = keys(code[wanted], day[wanted]), counter[wanted]
    order = np.argsort(key, kind="stable")
    key, value = key[order], value[order]
    first = np.append(True, np.diff(key >> DAY_BITS) > 0)[: len(key)]
    at = np.argsort(np.concatenate([flown.total_key, key[first]]), kind="stable")
    return replace(
        flown,
        total_key=np.concatenate([flown.total_key, key[first]])[at],
        total=np.concatenate([flown.total, value[first]])[at],
    )


def braked_by(flown: FlownDays, code: IntArray, day: IntArray, counter: FloatArray) -> FloatArray:
    """
    Braked landings of a working brake of each aircraft by a moment: a counter value, else the end of a day.

    Parameters
    ----------
    flown : FlownDays
        From `anchored`.
    code, day : arrays of int64, shape (n,)
        Aircraft and day number.
    counter : array of float, shape (n,)
        Aircraft landings at that moment, NaN where not typed: then the day rule decides.

    Returns
    -------
    array of float, shape (n,)
        On the scale of ``flown.braked``; only differences mean anything.

    Notes
    -----
    A counter value is placed among the landings counted by the log, from the last running total on or before the
    day, else the first. Between two days the braked landings are interpolated; beyond the log each landing
    counted is taken as one braked.
    """
    by_day = flown.braked_through(code, day)
    asked = np.flatnonzero(~np.isnan(counter))
    if not len(asked):
        return by_day
    code, day, counter = code[asked], day[asked], counter[asked]
    anchor = latest(flown.total_key, code, day)
    first = np.searchsorted(flown.total_key, keys(code, np.full(len(code), -FAR)), side="left")
    anchor = np.where(anchor >= 0, anchor, first)
    log_at_anchor = flown.counted[np.searchsorted(flown.key, flown.total_key[anchor], side="right")]
    target = log_at_anchor + counter - flown.total[anchor]
    placed = _place(flown, code, target)
    agrees = np.abs(target - flown.counted[flown.index(code, day)]) < 1e-6
    by_day[asked] = np.where(agrees, by_day[asked], placed)
    return by_day


def _place(flown: FlownDays, code: IntArray, target: FloatArray) -> FloatArray:
    low = flown.index(code, np.full(len(code), -FAR))
    high = flown.index(code, np.full(len(code), FAR))
    inside = np.clip(target, flown.counted[low], flown.counted[high])
    upper = np.clip(np.searchsorted(flown.counted, inside, side="left"), np.minimum(low + 1, high), high)
    lower = np.maximum(upper - 1, low)
    step = flown.counted[upper] - flown.counted[lower]
    share = np.where(step > 0, (inside - flown.counted[lower]) / np.where(step > 0, step, 1.0), 0.0)
    braked = flown.braked[lower] + share * (flown.braked[upper] - flown.braked[lower])
    return np.asarray(braked + target - inside)
