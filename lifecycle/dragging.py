"""Brakes that wear faster or slower than their own past: an item to look at, with what speaks for it."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.drag import SLACK, find_drift
from lifecycle.exposure import Runs
from lifecycle.pathfilter import Floats
from lifecycle.wear import FleetFit
from lifecycle.whitened import Whitened, whitened

FASTER, SLOWER = "faster", "slower"
# What one reading may add: a strong drag throws readings so far off that the fit keeps them out. Two in a row speak,
# a single slip does not.
MOST: Final = 3.0


@dataclass(frozen=True)
class DraggingBrake:
    """
    One installed brake whose wear has left its own past.

    ``side`` is ``faster`` (as a dragging brake wears) or ``slower`` (as one that hardly brakes, or a pin misread).
    ``since_on`` is the day of the last reading before that, None where it began with the run; ``since_landings`` the
    landings of the run by then. ``readings`` have been taken since, ``records`` are their numbers in time order, and
    ``landings`` what was flown in them. ``rate_mm_per_landing`` is the wear since, ``usual_mm_per_landing`` that of
    the run as a whole. ``cusum`` is how far the sum of innovations stands; an alarm is above 4.
    """

    serial: str
    brake_type: str
    registration: str
    position: str
    base: str
    side: str
    since_on: dt.date | None
    since_landings: float
    landings: float
    readings: int
    rate_mm_per_landing: float
    usual_mm_per_landing: float
    cusum: float
    records: tuple[int, ...]


def dragging_brakes(runs: Runs, fit: FleetFit, *, base: str = "") -> tuple[DraggingBrake, ...]:
    """
    Installed brakes on which an alarm of `drag.find_drift` stands.

    Parameters
    ----------
    runs : Runs
        Of the fleet, or of one brake.
    fit : FleetFit
        The last fit.
    base : str
        Only brakes at this base; "" for all.

    Returns
    -------
    tuple of DraggingBrake
        Those that wear faster before those that wear slower, the strongest first. Without any cause up to one brake
        in twenty has an alarm at any one time.

    Notes
    -----
    The sum is that of `drag.find_drift` over every reading as it was judged, each counting at most 3 standard
    deviations, so that a drag too strong for the fit to keep its readings is listed too.
    """
    frame = runs.runs[runs.runs["fitted"] & runs.runs["base"].isin([base] if base else runs.runs["base"])]
    fitted = Runs(
        frame,
        runs.spans[runs.spans["run"].isin(frame.index)],
        runs.readings[runs.readings["run"].isin(frame.index)].reset_index(drop=True),
    )
    if frame.empty:
        return ()
    found = [brake for each in whitened(fitted, fit) for brake in _alarmed(each, fitted, fit.posterior)]
    return tuple(
        sorted(found, key=lambda brake: (brake.side != FASTER, -brake.cusum, brake.serial, brake.brake_type))
    )


def _alarmed(told: Whitened, runs: Runs, posterior: pd.DataFrame) -> Iterator[DraggingBrake]:
    away = np.clip(told.judged, -MOST, MOST)
    drift = find_drift(away, told.readings)
    usual = posterior["rate_mm"].reindex(told.case.runs.index).to_numpy(dtype=float)
    for place in np.flatnonzero(drift.sign):
        run = told.case.runs.iloc[place]
        source = told.case.source[:, place]
        read = runs.readings.iloc[source[source >= 0]]
        after = read["landings"].to_numpy(dtype=float) > drift.since[place]
        before = read[~after]
        yield DraggingBrake(
            **{name: str(run[name]) for name in ("serial", "brake_type", "registration", "position", "base")},
            side=FASTER if drift.sign[place] > 0 else SLOWER,
            since_on=pd.Timestamp(before["day"].iloc[-1]).date() if len(before) else None,
            since_landings=float(drift.since[place]),
            landings=float(drift.flown[place]),
            readings=int(after.sum()),
            rate_mm_per_landing=float(drift.rate_mm[place]),
            usual_mm_per_landing=float(usual[place]),
            cusum=_cusum(away[:, place], drift.sign[place]),
            records=tuple(int(record) for record in read.loc[after, "record"]),
        )


def _cusum(away: Floats, sign: float) -> float:
    """Where the sum on the side of the alarm stands at the last reading."""
    total = 0.0
    for z in away[np.isfinite(away)]:
        total = max(0.0, total + sign * float(z) - SLACK)
    return total
