"""How far the log of landings reaches, and how many aircraft-days of the last month nobody has reported."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.aircraft import aircraft_on, grounded_spans
from lifecycle.days import day_number, day_numbers
from lifecycle.observations import Records

WINDOW_DAYS: Final = 30
MOST_GAPS: Final = 50


@dataclass(frozen=True)
class Gap:
    """Days in a row of one aircraft that nobody has reported."""

    registration: str
    from_on: dt.date
    to_on: dt.date

    @property
    def days(self) -> int:
        """How many days."""
        return (self.to_on - self.from_on).days + 1


@dataclass(frozen=True)
class Reach:
    """Last day with landings on record, None before the first, and aircraft-days missing by it, the first gaps told."""

    through: dt.date | None
    missing_aircraft_days: int
    gaps: tuple[Gap, ...] = ()


def reach_of(records: Records, base: str = "") -> Reach:
    """
    The reach of the log, of one home base or of all.

    An aircraft-day is missing where an aircraft in use has neither a count, zero included, nor a running total.
    """
    log = records.landings
    log = log[log["full_stops"].notna() | log["total_landings"].notna()]
    if log.empty:
        return Reach(None, 0)
    log = log.assign(end=log["to_day"].fillna(log["day"]))
    through = log["end"].max()
    recent = log[log["end"] > through - pd.Timedelta(days=WINDOW_DAYS)]
    days = np.arange(day_number(through.date()) - WINDOW_DAYS + 1, day_number(through.date()) + 1)
    code = pd.Index(records.aircraft["aircraft"]).get_indexer(recent["aircraft"])
    told = _covered(
        len(records.aircraft), days, code, day_numbers(recent["day"]), day_numbers(recent["end"]) + 1
    )
    grounded = _covered(len(records.aircraft), days, *grounded_spans(records))
    asked = (
        (records.aircraft["base"] == base).to_numpy() if base else np.ones(len(records.aircraft), dtype=bool)
    )
    missing = ~told & ~grounded & asked[:, np.newaxis]
    return Reach(through.date(), int(missing.sum()), _gaps(records, missing, through.date()))


def _gaps(records: Records, missing: np.ndarray, through: dt.date) -> tuple[Gap, ...]:
    """The first runs of missing days, aircraft by aircraft; the last column is the day `through`."""
    edges = np.diff(np.pad(missing.astype(np.int64), ((0, 0), (1, 1))), axis=1)
    code, first = np.nonzero(edges == 1)
    end = np.nonzero(edges == -1)[1]
    start = day_number(through) - missing.shape[1] + 1
    names = aircraft_on(records, "registration", code, start + first)
    began = through - dt.timedelta(days=missing.shape[1] - 1)
    found = [
        Gap(str(name), began + dt.timedelta(days=int(low)), began + dt.timedelta(days=int(high) - 1))
        for name, low, high in zip(names, first, end, strict=True)
    ]
    return tuple(sorted(found, key=lambda gap: (gap.registration, gap.from_on))[:MOST_GAPS])


def _covered(
    aircraft: int, days: np.ndarray, code: np.ndarray, first: np.ndarray, end: np.ndarray
) -> np.ndarray:
    """Whether each (aircraft, day) lies in one of its spans [first, end)."""
    found = np.zeros((aircraft, len(days)), dtype=bool)
    for column, day in enumerate(days):
        found[code[(first <= day) & (day < end)], column] = True
    return found
