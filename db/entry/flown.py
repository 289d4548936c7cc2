"""Landings that a brake can have been there for, by the log: enough to say whether a pin can have worn so far."""

from typing import Any, Final

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

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

# A day that nobody has reported may have seen so many landings, not more (common practice, no source).
LANDINGS_A_DAY_MAX: Final = 12
# Keys put (aircraft, day) into one sortable number; no calendar needs more days than this.
DAYS: Final = 1 << 22


def landings_at_most(session: Session, asked: pd.DataFrame) -> Floats:
    """
    Landings that each brake has seen by the end of a day since its first installation, at the most.

    `asked` has the columns brake and day. Full stops and touch-and-gos count alike, and days without a record as the
    busiest there are: this bounds wear, it does not measure it.
    """
    which = among(Occupancy.brake, asked["brake"].unique().tolist())
    stays = frame_of(session, select(table_of(Occupancy)).where(which))
    log = _Log(session, stays["aircraft"].unique().tolist())
    each = asked[["brake", "day"]].reset_index(drop=True).reset_index(names="place").merge(stays, on="brake")
    # Work follows the day's flying: the day a brake goes on is not its own, the day it comes off is.
    begun = _day(each["from_on"])
    until = np.maximum(_day(each["to_on"].fillna(each["day"]).clip(upper=each["day"])), begun)
    aircraft = each["aircraft"].to_numpy()
    landings, reported = (
        after - before for after, before in zip(log.by(aircraft, until), log.by(aircraft, begun), strict=True)
    )
    most = landings + LANDINGS_A_DAY_MAX * np.maximum(until - begun - reported, 0.0)
    return np.bincount(each["place"], most, minlength=len(asked)).astype(np.float64)


class _Log:
    """Landings of some aircraft and days reported, both cumulative; a period counts by its last day."""

    def __init__(self, session: Session, aircraft: list[int]) -> None:
        told_of = (Landing.aircraft, Landing.day, Landing.to_day, Landing.full_stops, Landing.touch_and_gos)
        log = current(Landing).where(among(Landing.aircraft, aircraft))
        rows = frame_of(session, log.with_only_columns(*told_of))
        first, last = _day(rows["day"]), _day(rows["to_day"].fillna(rows["day"]))
        told = rows["full_stops"].notna().to_numpy()
        stops = rows["full_stops"].fillna(0).to_numpy(float) + rows["touch_and_gos"].fillna(0).to_numpy(float)
        key = rows["aircraft"].to_numpy() * DAYS + last
        order = np.argsort(key, kind="stable")
        self._key = key[order]
        self._landings = np.concatenate([[0.0], np.cumsum(stops[order])])
        self._reported = np.concatenate([[0.0], np.cumsum(((last - first + 1) * told)[order])])

    def by(self, aircraft: Ints, day: Ints) -> tuple[Floats, Floats]:
        """Running totals over all aircraft, so that only differences within one aircraft mean something."""
        place = np.searchsorted(self._key, aircraft * DAYS + day, side="right")
        return self._landings[place], self._reported[place]


def _day(days: "pd.Series[Any]") -> Ints:
    return days.to_numpy().astype("datetime64[D]").astype(np.int64)
