"""Braked landings of every aircraft, day by day: full stops, touch-and-gos, rejected take-offs, totals."""

import datetime as dt
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from lifecycle.days import FAR, FloatArray, IntArray, among, day_number, day_numbers, key_day, keys
from lifecycle.errors import BadRecordsError
from lifecycle.observations import Records

JOULES_PER_KG_KT2: Final = 0.1323  # half of (0.514444 m/s a knot) squared


@dataclass(frozen=True)
class FlownDays:
    """
    Braked landings of each aircraft and day on record, summed up.

    Attributes
    ----------
    aircraft : Index of int, shape (a,)
        Aircraft in the order of their codes.
    key : array of int64, shape (n,)
        Ascending keys of (aircraft code, day) with landings.
    braked, counted : arrays of float, shape (n + 1,)
        Running sums over all keys of braked landings, and of landings as an aircraft's counter counts them
        (full stops and touch-and-gos); only differences within one aircraft mean anything.
    unreported : array of int64, shape (u,)
        Ascending keys of days that have a row but no landings, neither typed nor from totals.
    total_key, total : arrays, shape (t,)
        Days with a running total and the total, landings, at the end of that day.
    first_day, last_day : arrays of int64, shape (a,)
        First and last day on record, FAR and -FAR where none is.
    """

    aircraft: pd.Index
    key: IntArray
    braked: FloatArray
    counted: FloatArray
    unreported: IntArray
    total_key: IntArray
    total: FloatArray
    first_day: IntArray
    last_day: IntArray

    def index(self, code: IntArray, day: IntArray) -> IntArray:
        """Index into the running sums at the end of each (aircraft code, day)."""
        return np.searchsorted(self.key, keys(code, day), side="right")

    def braked_through(self, code: IntArray, day: IntArray) -> FloatArray:
        """Braked landings at the end of each (aircraft code, day); only differences mean anything."""
        return self.braked[self.index(code, day)]


def energy_per_wheel_j(mass_kg: FloatArray, speed_kt: FloatArray, wheels: FloatArray) -> FloatArray:
    """
    Kinetic energy that each braked wheel takes up in a stop.

    Parameters
    ----------
    mass_kg, speed_kt, wheels : arrays of float, shapes that broadcast
        Aircraft mass, kilograms; speed at brake application, knots; number of main wheels with brakes.

    Returns
    -------
    array of float
        Energy per wheel, joules.

    Notes
    -----
    E = 0.1323 m V^2 / N, the metric form of E = 0.0443 W V^2 / N (ft-lb, lb, kt).

    References
    ----------
    14 CFR 23.735(a)(2), text before 2017.
    """
    return np.asarray(JOULES_PER_KG_KT2 * mass_kg * speed_kt**2 / wheels)


class LogRows(NamedTuple):
    """The landings file as arrays, one entry a row; ``stops`` NaN where blank, ``mass_kg`` NaN where not known."""

    code: IntArray
    first: IntArray
    last: IntArray
    stops: FloatArray
    touches: FloatArray
    rejected: FloatArray
    total: FloatArray
    mass_kg: FloatArray


class _Cells(NamedTuple):
    """Landings put down to aircraft-days."""

    key: IntArray
    stops: FloatArray
    touches: FloatArray


def fly_days(records: Records, on: dt.date, *, touch_and_go_weight: float = 0.0) -> FlownDays:
    """
    Braked landings of every aircraft and day, from all that the log says.

    Parameters
    ----------
    records : Records
        Needs aircraft, aircraft_types, landings and events.
    on : date
        Later days are left out.
    touch_and_go_weight : float
        Braked landings that one touch-and-go counts for.

    Returns
    -------
    FlownDays
        Sums by aircraft and day.

    Raises
    ------
    BadRecordsError
        If landings or events name an aircraft that is not in the records.

    Notes
    -----
    A day counts full stops + weight x touch-and-gos + rejected take-offs, each of these weighing its energy per
    wheel against a normal stop of the aircraft type (1 where its mass or speed is not known). A period total is
    spread evenly over the days of the period that have no row of their own, less what those rows count. So is
    the difference between two running totals: it fills blank and missing days, and only those. A blank day
    that no total covers stays unreported.
    """
    rows = read_log(records, on)
    typed = _typed_days(rows)
    spread = _spread_periods(rows, typed)
    known = _join(typed, spread)
    filled = _fill_from_totals(rows, _join(known, _blank_touches(rows)), known.key)
    cells = _join(_join(known, _blank_touches(rows)), filled)
    stops_key, stops_weight = rejected_takeoffs(records, rows, on)
    key, braked, counted = _sum_up(cells, touch_and_go_weight, stops_key, stops_weight, day_number(on))
    has_total = ~np.isnan(rows.total)
    order = np.argsort(keys(rows.code[has_total], rows.last[has_total]), kind="stable")
    first_day, last_day = _range_on_record(rows, len(records.aircraft))
    return FlownDays(
        aircraft=pd.Index(records.aircraft["aircraft"]),
        key=key,
        braked=braked,
        counted=counted,
        unreported=_unreported(rows, _join(known, filled).key),
        total_key=keys(rows.code[has_total], rows.last[has_total])[order],
        total=rows.total[has_total][order],
        first_day=first_day,
        last_day=np.minimum(last_day, day_number(on)),
    )


def codes_of(ids: pd.Index, wanted: pd.Series, what: str) -> IntArray:
    """
    Position of each identity in its list.

    Parameters
    ----------
    ids : Index, shape (n,)
        The list.
    wanted : Series, shape (m,)
        Identities to find.
    what : str
        What they are, for the message.

    Returns
    -------
    array of int64, shape (m,)
        Positions.

    Raises
    ------
    BadRecordsError
        If one is not in the list.
    """
    found = ids.get_indexer(pd.Index(wanted)).astype(np.int64)
    if (found < 0).any():
        lost = sorted(set(wanted[found < 0].tolist()))[:5]
        raise BadRecordsError(f"{what} {lost} is named but not in the records; add it there first")
    return found


def read_log(records: Records, on: dt.date) -> LogRows:
    """
    The landings file as arrays.

    Parameters
    ----------
    records : Records
        Needs aircraft and landings.
    on : date
        Rows that begin later are left out.

    Returns
    -------
    LogRows
        One entry a row.
    """
    log = records.landings
    first = day_numbers(log["day"])
    if (first > day_number(on)).any():
        log = log[first <= day_number(on)]
        first = day_numbers(log["day"])
    last = day_numbers(log["to_day"], missing=-FAR)
    return LogRows(
        code=codes_of(pd.Index(records.aircraft["aircraft"]), log["aircraft"], "aircraft in landings"),
        first=first,
        last=np.maximum(first, last),
        stops=log["full_stops"].to_numpy(dtype=float),
        touches=np.nan_to_num(log["touch_and_gos"].to_numpy(dtype=float)),
        rejected=np.nan_to_num(log["rejected_takeoffs"].to_numpy(dtype=float)),
        total=log["total_landings"].to_numpy(dtype=float),
        mass_kg=log["landing_mass_kg"].to_numpy(dtype=float),
    )


def _typed_days(rows: LogRows) -> _Cells:
    one_day = (rows.first == rows.last) & ~np.isnan(rows.stops)
    return _sorted(
        _Cells(keys(rows.code[one_day], rows.first[one_day]), rows.stops[one_day], rows.touches[one_day])
    )


def _blank_touches(rows: LogRows) -> _Cells:
    at = np.isnan(rows.stops) & (rows.touches > 0)
    key = keys(rows.code[at], rows.last[at])
    return _sorted(_Cells(key, np.zeros(len(key)), rows.touches[at]))


def _spread_periods(rows: LogRows, typed: _Cells) -> _Cells:
    """Period totals, less the days typed within them, over the other days of the period."""
    at = (rows.first < rows.last) & ~np.isnan(rows.stops)
    inside = _within(typed.key, typed.stops, rows.code[at], rows.first[at], rows.last[at])
    free = _free_days(rows.code[at], rows.first[at], rows.last[at], typed.key)
    stops = np.maximum(rows.stops[at] - inside, 0)[free.period] / free.days[free.period]
    return _sorted(_Cells(free.key, stops, rows.touches[at][free.period] / free.days[free.period]))


def _fill_from_totals(rows: LogRows, cells: _Cells, reported: IntArray) -> _Cells:
    """Put what running totals count beyond the rows between them down to the days without landings."""
    has_total = np.flatnonzero(~np.isnan(rows.total))
    at = has_total[np.argsort(keys(rows.code[has_total], rows.last[has_total]), kind="stable")]
    code, last, total = rows.code[at], rows.last[at], rows.total[at]
    rise = total[1:] - total[:-1]
    beyond = rise - _within(cells.key, cells.stops + cells.touches, code[1:], last[:-1] + 1, last[1:])
    pair = np.flatnonzero((code[1:] == code[:-1]) & (beyond > 0) & (last[1:] > last[:-1]))
    free = _free_days(code[1:][pair], last[:-1][pair] + 1, last[1:][pair], reported)
    stops = beyond[pair][free.period] / free.days[free.period]
    return _sorted(_Cells(free.key, stops, np.zeros(len(stops))))


class _FreeDays(NamedTuple):
    """Days of some periods that have no row of their own; ``days`` counts them by period."""

    period: IntArray
    key: IntArray
    days: IntArray


def _free_days(code: IntArray, first: IntArray, last: IntArray, taken: IntArray) -> _FreeDays:
    length = last - first + 1
    period = np.repeat(np.arange(len(code)), length)
    start = np.repeat(np.cumsum(length) - length, length)
    key = keys(code[period], first[period] + np.arange(len(period)) - start)
    free = ~among(key, taken)
    return _FreeDays(period[free], key[free], np.bincount(period[free], minlength=len(code)))


def _within(key: IntArray, value: FloatArray, code: IntArray, first: IntArray, last: IntArray) -> FloatArray:
    """Sum of the values of each aircraft from first through last day; keys ascend."""
    running = _running(value)
    upto = np.searchsorted(key, keys(code, last), side="right")
    return np.asarray(running[upto] - running[np.searchsorted(key, keys(code, first), side="left")])


def _sorted(cells: _Cells) -> _Cells:
    if (np.diff(cells.key) >= 0).all():
        return cells
    order = np.argsort(cells.key, kind="stable")
    return _Cells(cells.key[order], cells.stops[order], cells.touches[order])


def _join(one: _Cells, other: _Cells) -> _Cells:
    if not len(other.key):
        return one
    return _sorted(
        _Cells(
            np.concatenate([one.key, other.key]),
            np.concatenate([one.stops, other.stops]),
            np.concatenate([one.touches, other.touches]),
        )
    )


def rejected_takeoffs(records: Records, rows: LogRows, on: dt.date) -> tuple[IntArray, FloatArray]:
    """
    Rejected take-offs as braked landings.

    Parameters
    ----------
    records : Records
        Needs aircraft, aircraft_types and events.
    rows : LogRows
        From `read_log`.
    on : date
        Later events are left out.

    Returns
    -------
    tuple of two arrays of shape (n,)
        Keys of aircraft and day, and weights: events by their energy, and 1 for each that the log counts beyond the
        events.
    """
    events = records.events[records.events["event"] == "rejected take-off"]
    events = events[day_numbers(events["day"]) <= day_number(on)]
    code = codes_of(pd.Index(records.aircraft["aircraft"]), events["aircraft"], "aircraft in events")
    key = keys(code, day_numbers(events["day"]))
    at = np.flatnonzero(rows.rejected > 0)
    ones = np.ones(len(key))
    described = _within(np.sort(key), ones, rows.code[at], rows.first[at], rows.last[at])
    beyond = np.maximum(rows.rejected[at] - described, 0)
    return (
        np.concatenate([key, keys(rows.code[at], rows.last[at])]),
        np.concatenate([_energy_weight(records, code, events), beyond]),
    )


def _energy_weight(records: Records, code: IntArray, events: pd.DataFrame) -> FloatArray:
    types = records.aircraft_types.set_index("aircraft_type")
    craft_type = records.aircraft["aircraft_type"].iloc[code]
    normal = types[["landing_mass_kg", "touchdown_speed_kt"]].reindex(craft_type).to_numpy(dtype=float)
    wheels = np.ones(len(code))  # the same wheels take up both stops, so their number cancels
    event_j = energy_per_wheel_j(
        events["mass_kg"].to_numpy(dtype=float), events["speed_kt"].to_numpy(dtype=float), wheels
    )
    weight = event_j / energy_per_wheel_j(normal[:, 0], normal[:, 1], wheels)
    return np.where(np.isfinite(weight), weight, 1.0)


def _sum_up(
    cells: _Cells, touch_and_go_weight: float, stop_key: IntArray, stop_weight: FloatArray, on: int
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Running sums by ascending key; keys that repeat are added together."""
    key = cells.key
    braked, counted = cells.stops + touch_and_go_weight * cells.touches, cells.stops + cells.touches
    if len(stop_key):
        key = np.concatenate([key, stop_key])
        order = np.argsort(key, kind="stable")
        key, braked = key[order], np.concatenate([braked, stop_weight])[order]
        counted = np.concatenate([counted, np.zeros(len(stop_key))])[order]
    if (key_day(key) > on).any():
        kept = key_day(key) <= on
        key, braked, counted = key[kept], braked[kept], counted[kept]
    last_of_key = np.append(np.diff(key) > 0, True)[: len(key)]
    if last_of_key.all():
        return key, _running(braked), _running(counted)
    ends = np.append(0, np.flatnonzero(last_of_key) + 1)
    return key[last_of_key], _running(braked)[ends], _running(counted)[ends]


def _running(value: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(value)])


def _unreported(rows: LogRows, reported: IntArray) -> IntArray:
    at = np.isnan(rows.stops)
    return np.sort(_free_days(rows.code[at], rows.first[at], rows.last[at], reported).key)


def _range_on_record(rows: LogRows, aircraft: int) -> tuple[IntArray, IntArray]:
    known = ~np.isnan(rows.stops) | ~np.isnan(rows.total)
    first = np.full(aircraft, FAR, dtype=np.int64)
    last = np.full(aircraft, -FAR, dtype=np.int64)
    np.minimum.at(first, rows.code[known], rows.first[known])
    np.maximum.at(last, rows.code[known], rows.last[known])
    return first, last
