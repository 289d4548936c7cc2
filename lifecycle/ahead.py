"""What lies ahead of one installed brake: length left as a fan over landings and over days, equally likely dates."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.flying import Flying
from lifecycle.forecast import dates_after, due_within
from lifecycle.installed import Installed

Floats = npt.NDArray[np.float64]

FAN_LEVELS: Final = np.array([0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95])
FAN_POINTS: Final = 25
PAST_POINTS: Final = 4
OUTCOMES: Final = 20
# A fan reaches past the 95 % point, so that the chart shows the limit crossed; at least so many landings.
FAN_MARGIN: Final = 1.1
FAN_LANDINGS_MIN: Final = 20.0


@dataclass(frozen=True)
class FanPoint:
    """
    Length left from the last reading on, mm; 5 % of outcomes have less than p5.

    Landings count from now, and are below 0 since that reading. On the landings grid the day is that of so many
    landings as flying goes; on the day grid the landings are those expected by then, and the spread holds the error
    of that too.
    """

    landings: float
    day: dt.date | None
    left_p5: float
    left_p10: float
    left_p25: float
    left_p50: float
    left_p75: float
    left_p90: float
    left_p95: float


@dataclass(frozen=True)
class Ahead:
    """Fan and equally likely outcomes of one brake, soonest first; empty where no limit is known."""

    landings_a_day: float | None
    by_landings: tuple[FanPoint, ...]
    by_day: tuple[FanPoint, ...]
    outcome_landings: tuple[float | None, ...]
    outcome_dates: tuple[dt.date | None, ...]


NOTHING_AHEAD: Final = Ahead(None, (), (), (), ())


def look_ahead(installed: Installed, flying: Flying, on: dt.date) -> Ahead:
    """
    What lies ahead of one brake.

    Parameters
    ----------
    installed : Installed
        One brake.
    flying : Flying
        How it is flown.
    on : date
        The day it was looked up for.

    Returns
    -------
    Ahead
        `NOTHING_AHEAD` where no limit or no wear is known.
    """
    if not np.isfinite(installed.law.remaining_mm).all():
        return NOTHING_AHEAD
    aircraft = installed.frame["aircraft"].to_numpy()
    levels = (np.arange(OUTCOMES) + 0.5) / OUTCOMES
    outcomes = due_within(installed, flying, levels)
    far, middle = installed.law.landings(np.array([[0.95], [0.5]]))[:, 0]
    reach = far if np.isfinite(far) else 2 * middle
    reach = max(FAN_MARGIN * reach, FAN_LANDINGS_MIN) if np.isfinite(reach) else FAN_LANDINGS_MIN
    landings = np.linspace(0.0, reach, FAN_POINTS)
    days = flying.days_to(aircraft, landings)
    past = _fan(installed, *_since_read(installed, on))
    return Ahead(
        landings_a_day=_landings_a_day(flying, aircraft, float(middle)),
        by_landings=past + _fan(installed, landings, dates_after(on, days)),
        by_day=past + _fan_by_day(installed, flying, aircraft, days[-1], on),
        outcome_landings=tuple(_seen(value) for value in outcomes.landings[:, 0]),
        outcome_dates=tuple(dates_after(on, outcomes.days[:, 0])),
    )


def _landings_a_day(flying: Flying, aircraft: npt.NDArray[np.int64], landings: float) -> float | None:
    """As flown until the median, season and plan included; the level of the aircraft where that is now or never."""
    days = float(flying.days_to(aircraft, landings)[0])
    if np.isfinite(days) and days > 0:
        return landings / days
    level = float(flying.landings_a_day(aircraft)[0])
    return level if level > 0 else None


def _since_read(installed: Installed, on: dt.date) -> tuple[Floats, list[dt.date | None]]:
    """Landings and days, evenly spread, between the last usable reading and now."""
    flown, since = float(installed.law.flown[0]), installed.frame["known_since"].iloc[0]
    if flown <= 0:
        return np.zeros(0), []
    share = np.linspace(1.0, 0.0, PAST_POINTS, endpoint=False)
    ago = (pd.Timestamp(on) - since).days
    return -flown * share, [on - dt.timedelta(days=round(ago * part)) for part in share]


def _fan_by_day(
    installed: Installed, flying: Flying, aircraft: npt.NDArray[np.int64], last_day: float, on: dt.date
) -> tuple[FanPoint, ...]:
    if not np.isfinite(last_day):
        return ()
    days = np.unique(np.round(np.linspace(0.0, last_day, FAN_POINTS)))
    landings = flying.expected_landings(aircraft, days)
    variance = (flying.cv_u * landings) ** 2 + flying.phi * landings
    return _fan(installed, landings, dates_after(on, days), variance)


def _fan(
    installed: Installed, landings: Floats, days: list[dt.date | None], landings_var: npt.ArrayLike = 0.0
) -> tuple[FanPoint, ...]:
    limit_mm = installed.frame["limit_mm"].to_numpy(float)
    left = limit_mm + installed.law.left_mm(FAN_LEVELS[:, None], landings, landings_var=landings_var)
    return tuple(
        FanPoint(float(at), day, *map(float, column))
        for at, day, column in zip(landings, days, left.T, strict=True)
    )


def _seen(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
