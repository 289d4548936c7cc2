"""Pin readings in their runs: length left, wear, and what keeps each of them out of the rate."""

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.aircraft import aircraft_on, position_groups
from lifecycle.days import FAR, BoolArray, FloatArray, IntArray, count_by, keys, latest, to_days
from lifecycle.exclusions import exclusions_of
from lifecycle.placed import Book
from lifecycle.scales import Scale, left_nm
from lifecycle.shims import Shims
from lifecycle.units import NM_PER_MM

NO_VALUE: Final = -1
WHY_NOT: Final = (
    "",
    "refused",
    "held",
    "hot",
    "released",
    "past limit only",
    "within limit only",
    "new length not known",
    "excluded",
)


def readings_frame(book: Book, runs: pd.DataFrame, scale: Scale, shims: Shims) -> pd.DataFrame:
    """
    The readings of all runs, without their braked landings.

    Parameters
    ----------
    book : Book
        Needs aircraft, aircraft_changes, aircraft_types, brakes, exclusions, installations and pin_readings of its
        records.
    runs : DataFrame, one row a run
        Columns ``known_start``, ``start_mm`` and ``at_limit``.
    scale, shims : Scale, Shims
        How lengths compare, and re-shims.

    Returns
    -------
    DataFrame, n rows
        As `exposure.Runs.readings` declares, but for ``landings``, in the order of the book; ``after_shim`` tells
        whether a reading of the day of a re-shim was taken after it.
    """
    records, stays, placed = book.records, book.stays, book.placed
    run = stays.run[placed.stay]
    read = records.pin_readings.iloc[placed.row]
    pin_nm = read["pin_nm"].to_numpy()
    pin = np.where(pin_nm == NO_VALUE, np.nan, pin_nm)
    left = left_nm(scale, run, read["convention"].to_numpy(dtype=object), pin)
    since, until = exclusions_of(records, stays)
    past_faults = count_by(until, run, placed.day)
    excluded = count_by(since, run, placed.day) > past_faults
    start = np.where(runs["known_start"], runs["start_mm"], np.nan)
    after = _after_shim(shims, run, placed.day, left / NM_PER_MM, start)
    before_all, by_then = np.full(len(run), -FAR), placed.day - ~after
    steps = shims.steps_by(run, by_then) - shims.steps_by(run, before_all)
    reason = why_not(read, left, excluded=excluded)
    low = _at_or_below(left, scale.limit_nm[run], runs["at_limit"].to_numpy(dtype=object)[run])
    code = stays.aircraft[placed.stay]
    position = np.append(records.installations["position"].to_numpy(dtype=object), "")[stays.row]
    return pd.DataFrame(
        {
            "run": run,
            "record": read["record"].to_numpy(),
            "day": to_days(placed.day),
            "left_mm": left / NM_PER_MM,
            "wear_mm": runs["start_mm"].to_numpy()[run] + steps - left / NM_PER_MM,
            "segment": past_faults + shims.uncertain_by(run, by_then) - shims.uncertain_by(run, before_all),
            "usable": reason == "",
            "why_not": pd.Series(reason, dtype="str"),
            "resolution_mm": read["resolution_nm"].to_numpy() / NM_PER_MM,
            "at_or_below": (low | (read["within_limit"] == "no").to_numpy()) & (reason != "refused"),
            "position_group": pd.Series(
                position_groups(records, stays.aircraft, position)[placed.stay], dtype="str"
            ),
            "base": pd.Series(aircraft_on(records, "base", code, placed.day), dtype="str"),
            "after_shim": after,
        }
    )


def _at_or_below(left: FloatArray, limit: FloatArray, at_limit: npt.NDArray[np.object_]) -> BoolArray:
    """At or past the limit; whole nanometres in floats compare exactly, and NaN compares false."""
    return np.asarray((left < limit) | ((left == limit) & (at_limit != "allowed")))


def _after_shim(shims: Shims, run: IntArray, day: IntArray, left: FloatArray, start: FloatArray) -> BoolArray:
    """Tell which readings of the day of a re-shim came after it: those nearer to the level with the step."""
    step = shims.steps_by(run, day) - shims.steps_by(run, day - 1)
    after = np.zeros(len(run), dtype=np.bool_)
    same_day = np.flatnonzero(np.isin(keys(run, day), shims.key))
    if not len(same_day):
        return after
    order = np.argsort(keys(run, day), kind="stable")
    order = order[~np.isnan(left[order])]
    previous = latest(keys(run, day)[order], run[same_day], day[same_day] - 1)
    level = np.where(previous >= 0, left[order][previous], start[run[same_day]])
    after[same_day] = left[same_day] - level > step[same_day] / 2
    return after


def why_not(read: pd.DataFrame, left: FloatArray, *, excluded: BoolArray) -> npt.NDArray[np.object_]:
    """
    What keeps each reading out of the rate.

    Parameters
    ----------
    read : DataFrame, n rows
        Rows of ``records.pin_readings``.
    left : array of float, shape (n,)
        Length left, NaN where not known.
    excluded : array of bool, shape (n,)
        Taken within a span of known fault.

    Returns
    -------
    array of str, shape (n,)
        The first of `WHY_NOT` that applies, "" for none.
    """
    reasons = [
        read["state"] == "refused",
        read["state"] == "held",
        read["cold"] == "no",
        read["brakes_applied"] == "no",
        (read["pin_nm"] == NO_VALUE) & (read["within_limit"] == "no"),
        read["pin_nm"] == NO_VALUE,
        np.isnan(left),
        excluded,
    ]
    number = np.select(
        [np.asarray(reason, dtype=np.bool_) for reason in reasons], range(1, len(reasons) + 1), 0
    )
    return np.asarray(np.array(WHY_NOT, dtype=object)[number])
