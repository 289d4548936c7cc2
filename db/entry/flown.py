"""Landings that a brake was there for, by the log: enough to say whether a pin can have worn so far."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.base import table_of
from db.frames import frame_of
from db.lookup import among, current
from db.records.brakes import Occupancy
from db.records.readings import Landing

# Keys put (aircraft, day) into one sortable number; no calendar needs more days than this.
DAYS: int = 1 << 22


def landings_flown(session: Session, asked: pd.DataFrame) -> npt.NDArray[np.float64]:
    """
    Landings of each brake by the end of a day, since its first installation on record.

    `asked` has the columns brake and day. Full stops and touch-and-gos count alike: this bounds wear, it does not
    measure it.
    """
    stays = frame_of(
        session, select(table_of(Occupancy)).where(among(Occupancy.brake, asked["brake"].unique().tolist()))
    )
    by_aircraft = _Log(session, stays["aircraft"].unique().tolist())
    each = asked[["brake", "day"]].reset_index(drop=True).reset_index(names="place").merge(stays, on="brake")
    until = _day(each["to_on"].fillna(each["day"]).clip(upper=each["day"]))
    begun = _day(each["from_on"])
    inside = np.maximum(until, begun)
    # Work follows the day's flying: the day a brake goes on is not its own, the day it comes off is.
    aircraft = each["aircraft"].to_numpy()
    flown = by_aircraft.through(aircraft, inside) - by_aircraft.through(aircraft, begun)
    return np.bincount(each["place"], flown, minlength=len(asked)).astype(np.float64)


class _Log:
    """Cumulative landings of some aircraft by day."""

    def __init__(self, session: Session, aircraft: list[int]) -> None:
        rows = frame_of(session, current(Landing).where(among(Landing.aircraft, aircraft)))
        stops = rows["full_stops"].fillna(0).astype(float) + rows["touch_and_gos"].fillna(0).astype(float)
        # A period total counts by its last day: for a bound that is near enough.
        key = rows["aircraft"].to_numpy() * DAYS + _day(rows["to_day"].fillna(rows["day"]))
        order = np.argsort(key, kind="stable")
        self._key = key[order]
        self._total = np.concatenate([[0.0], np.cumsum(stops.to_numpy(dtype=float)[order])])

    def through(self, aircraft: npt.NDArray[np.int64], day: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
        """Running total over all aircraft, so that only differences within one aircraft mean something."""
        return self._total[np.searchsorted(self._key, aircraft * DAYS + day, side="right")]


def _day(days: "pd.Series[Any]") -> npt.NDArray[np.int64]:
    return days.to_numpy().astype("datetime64[D]").astype(np.int64)
