"""The readings of one brake type as arrays, out of the frames of `Runs`."""

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.covariates import (
    LANDINGS,
    Spans,
    bends_of_places,
    numbered,
    shares_flown,
    shares_now,
    spans_of,
)
from lifecycle.exposure import Runs
from lifecycle.landing_kinds import AHEAD, KINDS
from lifecycle.pathfilter import Floats, Readings, arrange

Indices = npt.NDArray[np.int64]

ONLY_CHECKED: Final = "within limit only"
UNREAD: Final = "short_by_noise"


@dataclass(frozen=True)
class WearCase:
    """
    Readings of some runs, laid out.

    Attributes
    ----------
    runs : DataFrame
        The rows of `Runs.runs`.
    readings : Readings
        Usable readings of n_runs runs.
    source : array of int, shape (n_readings, n_runs)
        Position of each reading in `Runs.readings`, -1 where there is none.
    shares, shares_now : dict
        Share of each run's landings by factor and level, up to its last reading and for the landings to come.
    resolution_mm : float
        Median resolution of the readings.
    check_landings, limit_wear_mm : array of shape (n_runs,)
        Landings at the last check "within limit" without a value, NaN where there is none; wear at the limit after the
        re-shims by the last usable reading, NaN where no limit is known, or no run has such a check.
    bends : dict
        By how much the landings at a level, or a counter, run ahead of its share of the run's landings: arrays of
        shape (n_readings, n_runs), only where some run's do.
    unread_noise : array of shape (n_readings, n_runs) or None
        Variance, over one reading's, of what readings were told as shorter by for a pin not read (one error a run);
        None where no run has such readings.
    """

    runs: pd.DataFrame
    readings: Readings
    source: Indices
    shares: dict[tuple[str, str], Floats]
    shares_now: dict[tuple[str, str], Floats]
    resolution_mm: float
    check_landings: Floats
    limit_wear_mm: Floats
    bends: dict[tuple[str, str], Floats] = field(default_factory=dict)
    unread_noise: Floats | None = None


def cases_by_type(runs: Runs) -> dict[str, WearCase]:
    """
    One case for each brake type.

    Parameters
    ----------
    runs : Runs
        From exposure.

    Returns
    -------
    dict
        Cases by brake type, in alphabetical order; a type without readings has an empty one.
    """
    types, code = numbered(runs.runs["brake_type"])
    places = runs.spans if runs.places is None else runs.places
    log = _Log(runs.readings)
    usable = np.flatnonzero(log["usable"])
    index = runs.runs.index.to_numpy()
    of_span, of_reading = _rows(index, places["run"].to_numpy()), _rows(index, log["run"][usable])
    check_landings = _last_checks(log, index)
    cases = {}
    for number, brake_type in enumerate(types):
        rows = np.flatnonzero(code == number)
        local = np.full(code.size, -1)
        local[rows] = np.arange(rows.size)
        mine, spans = code[of_reading] == number, code[of_span] == number
        every = len(types) == 1  # a frame is not copied for that: one brake's new reading waits for it
        cases[brake_type] = _case(
            runs.runs if every else runs.runs.iloc[rows],
            places if every else places.iloc[np.flatnonzero(spans)],
            local[of_span[spans]],
            log,
            usable[mine],
            local[of_reading[mine]],
            check_landings[rows],
        )
    return cases


class _Log(dict[str, npt.NDArray[Any]]):
    """Columns of a frame as arrays, each taken out once."""

    def __init__(self, frame: pd.DataFrame) -> None:
        super().__init__()
        self.frame = frame

    def __missing__(self, name: str) -> npt.NDArray[Any]:
        self[name] = self.frame[name].to_numpy()
        return self[name]


def _rows(index: Indices, run: Indices) -> Indices:
    """Row of each run, all of them on the index."""
    order = np.argsort(index)
    return np.asarray(order[np.searchsorted(index, run, sorter=order)])


def _last_checks(log: _Log, index: Indices) -> Floats:
    """Landings of each run at its last check "within limit" without a value; NaN where there is none."""
    found = np.full(index.size, np.nan)
    only_checked = log["why_not"] == ONLY_CHECKED
    if not only_checked.any():
        return found
    checked = np.flatnonzero(only_checked & ~log["at_or_below"].astype(bool))
    # In time order, so the last assignment to a run stands.
    found[_rows(index, log["run"][checked])] = log["landings"][checked]
    return found


def _case(  # noqa: PLR0913, PLR0917 (three frames, each with its rows)
    runs: pd.DataFrame,
    spans: pd.DataFrame,
    span_place: Indices,
    log: _Log,
    chosen: Indices,
    reading_place: Indices,
    check_landings: Floats,
) -> WearCase:
    order = np.argsort(reading_place, kind="stable")
    chosen, column = chosen[order], reading_place[order]
    counts = np.bincount(column, minlength=len(runs))
    row = np.arange(column.size) - np.repeat(np.cumsum(counts) - counts, counts)
    shape = (int(counts.max(initial=0)), len(runs))
    source = np.full(shape, -1)
    source[row, column] = chosen

    def laid(name: str) -> Floats:
        values = np.full(shape, np.nan)
        values[row, column] = log[name][chosen]
        return values

    landings = laid("landings")
    again = "segment" in log.frame and log["segment"][chosen].any()
    arranged = arrange(
        landings.T,
        laid("wear_mm").T,
        known_start=runs["known_start"].to_numpy(bool),
        restart=_restarts(laid("segment")).T if again else False,
    )
    until = arranged.landings[-1] if shape[0] else np.zeros(len(runs))
    flown, now = spans_of(spans, span_place), shares_now(runs)
    places = shares_flown(flown, until, now)
    began = _began(flown, len(runs))
    counters = {name: laid(name) for name in KINDS if name in log.frame}
    kinds = {name: _per_landing(counters[name], arranged, began) for name in counters}
    ahead = {(LANDINGS, name): runs[name + AHEAD].to_numpy(float) for name in counters}
    bends = {(LANDINGS, name): _bend(counters[name], kinds[name], arranged, began) for name in counters}
    shares = {(LANDINGS, name): kinds[name] for name in counters}
    checked = bool(np.isfinite(check_landings).any())
    resolution = log["resolution_mm"][chosen]
    return WearCase(
        runs=runs,
        readings=arranged,
        source=source,
        shares=places | shares,
        shares_now=now | ahead,
        resolution_mm=float(np.median(resolution)) if resolution.size else 0.0,
        check_landings=check_landings,
        limit_wear_mm=_limit_wear(runs, arranged, laid("left_mm")) if checked else np.full(len(runs), np.nan),
        bends=bends_of_places(flown, arranged.landings, places) | bends,
        unread_noise=np.nan_to_num(laid(UNREAD))
        if UNREAD in log.frame and log[UNREAD][chosen].any()
        else None,
    )


def _limit_wear(runs: pd.DataFrame, readings: Readings, left_mm: Floats) -> Floats:
    """Start less limit, and the sum of the re-shim steps by the last usable reading."""
    start, limit = runs["start_mm"].to_numpy(float), runs["limit_mm"].to_numpy(float)
    if not readings.valid.shape[0]:
        return np.asarray(start - limit)
    run = np.arange(start.size)
    last = readings.valid.shape[0] - 1 - readings.valid[::-1].argmax(axis=0)
    steps = readings.wear_mm[last, run] + left_mm[last, run] - start
    return np.asarray(start - limit + np.where(readings.valid.any(axis=0), steps, 0.0))


def _began(spans: Spans, count: int) -> Floats:
    """Landings of each run at its first installation on record."""
    began = np.full(count, np.inf)
    np.minimum.at(began, spans.place, spans.first)
    return np.where(np.isfinite(began), began, 0.0)


def _per_landing(counter: Floats, readings: Readings, began: Floats) -> Floats:
    """Growth of a counter per landing up to the last reading of each run, 0 where none was flown."""
    if not counter.shape[0]:
        return np.zeros(began.size)
    last = readings.valid.shape[0] - 1 - readings.valid[::-1].argmax(axis=0)
    flown = readings.landings[-1] - began
    total = np.nan_to_num(counter[last, np.arange(began.size)])
    return np.asarray(np.divide(total, flown, out=np.zeros(began.size), where=flown > 0))


def _bend(counter: Floats, share: Floats, readings: Readings, began: Floats) -> Floats:
    even = share * np.maximum(readings.landings - began, 0.0)
    return np.where(readings.valid, counter - even, 0.0)


def _restarts(segment: Floats) -> npt.NDArray[np.bool_]:
    """Readings that are the first of a segment after the first one (segment 0)."""
    filled = np.where(np.isfinite(segment), segment, -1.0)
    return np.isfinite(segment) & (filled > np.vstack([np.zeros((1, filled.shape[1])), filled[:-1]]))
