"""What is shaky about a run, in plain words for the page."""

import datetime as dt
from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.aircraft import FLYING, aircraft_on
from lifecycle.counts import Count, sums_by_run
from lifecycle.days import FAR, BoolArray, count_by, day_number
from lifecycle.landings import FlownDays
from lifecycle.observations import Records
from lifecycle.runs import Stays
from lifecycle.scales import Scale
from lifecycle.shims import Shims
from lifecycle.starts import Starts


def notes_of(
    records: Records,
    stays: Stays,
    flown: FlownDays,
    starts: Starts,
    count: Count,
    limits: pd.DataFrame,
    scale: Scale,
    shims: Shims,
    on: dt.date,
) -> npt.NDArray[np.object_]:
    """
    Warnings of every run.

    Parameters
    ----------
    records : Records
        Needs aircraft and aircraft_changes.
    stays, flown, starts, count, limits, scale, shims
        All that is known about the runs.
    on : date
        The day the records are read on.

    Returns
    -------
    array of tuple of str, shape (r,)
        Empty for most.
    """
    notes = np.empty(len(stays.first), dtype=object)
    notes[:] = [()] * len(notes)
    for run, text in _each(records, stays, flown, starts, count, limits, scale, shims, on):
        notes[run] = (*notes[run], text)
    return notes


def _each(
    records: Records,
    stays: Stays,
    flown: FlownDays,
    starts: Starts,
    count: Count,
    limits: pd.DataFrame,
    scale: Scale,
    shims: Shims,
    on: dt.date,
) -> Iterator[tuple[int, str]]:
    last, today = stays.last, day_number(on)
    runs = np.arange(len(last))
    limit_note = limits["warning"].to_numpy(dtype=object)
    yield from ((run, limit_note[run]) for run in np.flatnonzero(limit_note != ""))
    yield from _said(
        starts.before_log, "installed before its aircraft's landings on record begin: start not known"
    )
    yield from _said(scale.anchor != "", "new length not on record: measured against the limit only")
    ended = np.minimum(stays.ended, today)
    blank = count_by(flown.unreported, stays.aircraft, ended) - count_by(
        flown.unreported, stays.aircraft, stays.begun
    )
    blank_days = sums_by_run(stays, np.where(stays.row >= 0, blank, 0))
    yield from ((run, f"flying of {blank_days[run]} days not reported") for run in np.flatnonzero(blank_days))
    uncertain = shims.uncertain_by(runs, np.full(len(runs), today)) - shims.uncertain_by(
        runs, np.full(len(runs), -FAR)
    )
    yield from _said(uncertain > 0, "re-shimmed by a step that is not certain: pin level open from then on")
    yield from _said(
        np.isin(stays.brake[stays.first], stays.overlapping), "shop visit while installed left out"
    )
    yield from _said(count.clash, "aircraft landings typed with a reading fall behind an earlier reading")
    fitted = (stays.aircraft[last] >= 0) & (stays.ended[last] == FAR)
    idle_now = np.isin(last, count.idle.stay[count.idle.ended > today])
    yield from _said(fitted & idle_now, "deactivated: installed and not braking")
    status = np.where(
        fitted, aircraft_on(records, "status", stays.aircraft[last], np.full(len(last), today)), FLYING
    )
    yield from ((run, f"aircraft {status[run]}") for run in np.flatnonzero(status != FLYING))


def _said(of_run: BoolArray, text: str) -> Iterable[tuple[int, str]]:
    return ((run, text) for run in np.flatnonzero(of_run))
