"""Re-shims: the pin jumps by the recorded step within a run; an uncertain step leaves the level open."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from lifecycle.days import DAY_BITS, BoolArray, FloatArray, IntArray, day_number, day_numbers, keys
from lifecycle.landings import codes_of
from lifecycle.observations import Records
from lifecycle.runs import Stays


@dataclass(frozen=True)
class Shims:
    """Re-shims within runs: ascending keys of (run, day), steps in mm (0 where not known) and whether certain."""

    key: IntArray
    step_mm: FloatArray
    certain: BoolArray

    def steps_by(self, run: IntArray, day: IntArray) -> FloatArray:
        """Steps of each run through a day, millimetres, from all runs before on: only differences mean anything."""
        return np.concatenate([[0.0], np.cumsum(self.step_mm)])[self._upto(run, day)]

    def uncertain_by(self, run: IntArray, day: IntArray) -> IntArray:
        """Uncertain steps through a day, counted the same way."""
        return np.concatenate([[0], np.cumsum(~self.certain)])[self._upto(run, day)]

    def is_uncertain(self, runs: int) -> BoolArray:
        """Whether each of so many runs has an uncertain step."""
        return np.bincount(self.key[~self.certain] >> DAY_BITS, minlength=runs) > 0

    def _upto(self, run: IntArray, day: IntArray) -> IntArray:
        return np.searchsorted(self.key, keys(run, day), side="right")


def shims_of(records: Records, stays: Stays, on: dt.date) -> Shims:
    """
    Re-shims of every run.

    Parameters
    ----------
    records : Records
        Needs brakes, reshims and shop_visits.
    stays : Stays
        From `runs.lay_out`.
    on : date
        Later ones are left out.

    Returns
    -------
    Shims
        Those after the first day of a run. A shop visit for re-shim without a step on record counts as one of
        unknown step. A step is certain if it is known and no spread is given with it.
    """
    rows = pd.concat([records.reshims[["brake", "day", "step_mm", "step_sd_mm"]], _unrecorded(records)])
    rows = rows[day_numbers(rows["day"]) <= day_number(on)]
    brake = codes_of(pd.Index(records.brakes["brake"]), rows["brake"], "brake in reshims")
    day = day_numbers(rows["day"])
    first = stays.first
    run = np.searchsorted(keys(stays.brake[first], stays.begun[first]), keys(brake, day), side="left") - 1
    within = (run >= 0) & (stays.brake[first][run] == brake)
    order = np.flatnonzero(within)[np.argsort(keys(run[within], day[within]), kind="stable")]
    step = rows["step_mm"].to_numpy(dtype=float)
    spread = np.nan_to_num(rows["step_sd_mm"].to_numpy(dtype=float))
    certain = ~np.isnan(step) & (spread == 0)
    return Shims(keys(run[order], day[order]), np.nan_to_num(step[order]), certain[order])


def _unrecorded(records: Records) -> pd.DataFrame:
    visits = records.shop_visits[records.shop_visits["work"] == "re-shim"]
    visits = visits.assign(day=visits["back_on"].where(visits["back_on"].notna(), visits["sent_on"]))
    steps = visits[["brake", "sent_on", "back_on", "record"]].merge(
        records.reshims[["brake", "day"]].rename(columns={"day": "done"}), on="brake"
    )
    back_by = (steps["done"] <= steps["back_on"]) | steps["back_on"].isna()
    covered = steps.loc[(steps["done"] >= steps["sent_on"]) & back_by, "record"]
    open_ones = visits[~visits["record"].isin(covered)]
    return open_ones[["brake", "day"]].assign(step_mm=np.nan, step_sd_mm=np.nan)
