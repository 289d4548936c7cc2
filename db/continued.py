"""
Running totals told as one count an aircraft, though its counter was replaced.

The arithmetic takes differences of totals, so a new counter goes on where the old one stood: at its last total on
record and what the sheets between count. Where the old one left no total, its figures compare with nothing that
comes later and are not known.
"""

import datetime as dt
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy.orm import Session

from db.frames import frame_of
from db.lookup import Known, current
from db.records.readings import CounterChange

Floats = npt.NDArray[np.float64]


def continue_totals(session: Session, frames: dict[str, pd.DataFrame], on: dt.date, known: Known) -> None:
    """
    Shift the totals of landings, installations and readings of the aircraft whose counter was replaced.

    On the day of the change the new counter is read: work follows the day's flying.
    """
    replaced = frame_of(session, current(CounterChange, known).where(CounterChange.day <= on))
    landings, stays, readings = (frames[name] for name in ("landings", "installations", "pin_readings"))
    for aircraft, changes in replaced.sort_values("day").groupby("aircraft"):
        sheets = landings[landings["aircraft"] == aircraft]
        shifts = _shifts(sheets, changes)
        landings.loc[sheets.index, "total_landings"] += shifts[_turn(sheets["counter"], changes["counter"])]
        own = stays[stays["aircraft"] == aircraft]
        for column, day in (
            ("aircraft_landings_on", "installed_on"),
            ("aircraft_landings_off", "removed_on"),
        ):
            stays.loc[own.index, column] += shifts[_turn(own[day], changes["day"])]
        seen = _read_on(own, readings)
        readings.loc[seen, "aircraft_landings"] += shifts[_turn(readings.loc[seen, "day"], changes["day"])]


def _shifts(sheets: pd.DataFrame, changes: pd.DataFrame) -> Floats:
    """What to add to the totals of each counter in turn, the first one's as they are."""
    days, ends = sheets["day"].to_numpy(), sheets["to_day"].fillna(sheets["day"]).to_numpy()
    landings = (sheets["full_stops"].fillna(0) + sheets["touch_and_gos"].fillna(0)).to_numpy()
    totals, turn = sheets["total_landings"].to_numpy(), _turn(sheets["counter"], changes["counter"])
    shifts = [0.0]
    for number, (day, starts_at) in enumerate(zip(changes["day"], changes["starts_at"], strict=True)):
        told = np.flatnonzero(~np.isnan(totals) & (turn <= number))
        if not len(told):
            shifts = [np.nan] * len(shifts) + [0.0]
            continue
        last = told[np.argmax(ends[told])]
        between = (days > ends[last]) & (ends < day.to_datetime64())
        shifts.append(totals[last] + shifts[turn[last]] + landings[between].sum() - starts_at)
    return np.array(shifts)


def _turn(values: "pd.Series[Any]", starts: "pd.Series[Any]") -> npt.NDArray[np.int64]:
    """How many of the replaced counters had begun by each value: 0 is the first counter."""
    return np.searchsorted(starts.to_numpy(), values.to_numpy(), side="right")


def _read_on(own: pd.DataFrame, readings: pd.DataFrame) -> npt.NDArray[np.int64]:
    """Readings with a total that were taken while their brake was on the aircraft."""
    told = readings.loc[readings["aircraft_landings"].notna(), ["brake", "day"]].reset_index(names="place")
    both = told.merge(own[["brake", "installed_on", "removed_on"]], on="brake")
    during = (both["installed_on"] <= both["day"]) & ~(both["removed_on"] < both["day"])
    return np.unique(both.loc[during, "place"].to_numpy(dtype=np.int64))
