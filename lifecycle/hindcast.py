"""Forecasts as they would have been given on a past day, beside what came of them."""

import datetime as dt
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle import score
from lifecycle.came import RUN, next_readings, passages
from lifecycle.exposure import Runs
from lifecycle.flying import Flying
from lifecycle.forecast import due_within
from lifecycle.installed import Installed, installed_brakes
from lifecycle.life import Passage
from lifecycle.rivals import average_rate, straight_lines
from lifecycle.wear import FleetFit

Floats = npt.NDArray[np.float64]
LEVELS: Final = np.array([0.1, 0.5, 0.9])
EVEN: Final = (np.arange(40) + 0.5) / 40


def hindcast(  # noqa: PLR0913, PLR0917 - what was known then, and what is known now
    then: Runs,
    fit_then: FleetFit,
    flying_then: Flying,
    origin: dt.date,
    now: Runs,
    fit_now: FleetFit,
    on: dt.date,
) -> pd.DataFrame:
    """
    Change-outs forecast on a past day whose whole range lies in the past by now.

    Parameters
    ----------
    then, fit_then, flying_then : Runs, FleetFit, Flying
        As known on the origin.
    origin : date
        The day forecast from.
    now, fit_now : Runs, FleetFit
        As known now.
    on : date
        The day that records now go up to.

    Returns
    -------
    DataFrame, one row a forecast
        ``serial``, ``brake_type``, ``origin``, ``p10``, ``p50``, ``p90`` (landings from the origin), ``days_p10``,
        ``days_p50``, ``days_p90``, ``came`` (landings, the ``horizon`` where it has not come yet), ``came_days``,
        ``has_come`` (bool), ``pit``, ``crps``, ``crps_if_right`` (what it would be on average were the forecast the
        truth), ``average_life``, ``straight_line`` (their forecasts).

    Notes
    -----
    Which forecasts count is settled by the forecast alone, never by what came of it: those whose P90 the position has
    flown by now. To count the finished runs would favour the short-lived. A brake that has not reached its limit by
    then was forecast too early. Landings beyond the horizon count as the horizon, in forecast and outcome alike, which
    leaves the score proper.
    """
    brakes = _open(installed_brakes(then, fit_then, flying_then, origin))
    if brakes.frame.empty:
        return pd.DataFrame()
    found = due_within(brakes, flying_then, LEVELS)
    frame = brakes.frame
    at = frame["landings"] + frame["projected"]
    seen = passages(now, fit_now).reindex(
        pd.MultiIndex.from_frame(frame[["brake", "run"]].set_axis(RUN, axis="columns"))
    )
    watched = (seen["until"] - at.to_numpy()).to_numpy(float)
    horizon = watched + seen["after"].to_numpy(float)
    passed = (seen["passed_at"] - at.to_numpy()).to_numpy(float)
    came = np.isfinite(passed)
    p90 = found.landings[2]
    # Off for another reason before its range ran out: nothing can be said of it.
    counts = (p90 > 0) & (p90 <= horizon) & (came | (watched >= p90))
    outcome = np.where(came, np.clip(passed, 0.0, horizon), horizon)
    days = (seen["passed_on"] - pd.Timestamp(origin)).dt.days.to_numpy(float)
    table = pd.DataFrame(
        {
            "serial": frame["serial"],
            "brake_type": frame["brake_type"],
            "origin": pd.Timestamp(origin),
            "p10": found.landings[0],
            "p50": found.landings[1],
            "p90": p90,
            "days_p10": found.days[0],
            "days_p50": found.days[1],
            "days_p90": found.days[2],
            "came": outcome,
            "came_days": np.where(came, np.maximum(days, 0.0), float((on - origin).days)),
            "has_come": came,
            "horizon": horizon,
            **_scored(brakes.law, outcome, came, horizon),
            **_rivals(frame, then, fit_then, at),
        }
    )
    resolved: pd.DataFrame = table[counts]
    return resolved


def _open(brakes: Installed) -> Installed:
    kept = ~brakes.frame["due"].to_numpy(bool) & np.isfinite(brakes.law.remaining_mm)
    return Installed(brakes.frame[kept], brakes.law.at(kept))


def _scored(law: Passage, outcome: Floats, came: npt.NDArray[np.bool_], horizon: Floats) -> dict[str, Floats]:
    top = np.where(np.isfinite(horizon) & (horizon > 0), horizon, 0.0)
    sample = np.minimum(law.landings(EVEN[:, None]), top).T
    y = np.where(np.isfinite(outcome), outcome, 0.0)
    apart = np.abs(sample[:, :, None] - sample[:, None, :]).mean(axis=(1, 2)) / 2
    reached = law.chance(y)
    return {
        "pit": np.where(came, reached, (1 + reached) / 2),
        "crps": score.crps_sample(y, sample),
        "crps_if_right": apart,
    }


def _rivals(frame: pd.DataFrame, then: Runs, fit: FleetFit, at: pd.Series) -> dict[str, Floats]:
    average = (frame["limit_wear_mm"] / average_rate(frame, fit) - at).clip(lower=0)
    lines = straight_lines(then).loc[frame.index]
    line = ((frame["limit_wear_mm"] - lines["level"]) / lines["slope"] - at).clip(lower=0)
    return {"average_life": average.to_numpy(float), "straight_line": line.fillna(average).to_numpy(float)}


def hindcast_readings(  # noqa: PLR0913, PLR0917 - what was known then, and what is known now
    then: Runs, fit_then: FleetFit, flying_then: Flying, origin: dt.date, now: Runs, fit_now: FleetFit
) -> pd.DataFrame:
    """
    The next reading of every brake, forecast on a past day for the landings that it then flew.

    Parameters
    ----------
    then, fit_then, flying_then, origin, now, fit_now
        As in `hindcast`.

    Returns
    -------
    DataFrame, one row a reading
        ``serial``, ``low``, ``middle``, ``high``, ``came`` (length left above the limit, mm), ``pit``, ``crps``,
        ``average_life``, ``straight_line`` (their forecasts).
    """
    brakes = _open(installed_brakes(then, fit_then, flying_then, origin))
    frame = brakes.frame
    keys = pd.MultiIndex.from_frame(frame[["brake", "run"]].set_axis(RUN, axis="columns"))
    seen = next_readings(now, fit_now, pd.Timestamp(origin)).reindex(keys)
    segment = then.readings[then.readings["usable"]].groupby("run")["segment"].last().reindex(frame.index)
    at = (frame["landings"] + frame["projected"]).to_numpy(float)
    flown = seen["landings"].to_numpy(float) - at
    told = (flown >= 0) & (seen["segment"].to_numpy(float) == segment.fillna(0).to_numpy(float))
    frame, flown, at, seen = frame[told], flown[told], at[told], seen[told]
    if frame.empty:
        return pd.DataFrame()
    law = brakes.law.at(told)
    gauge = fit_then.posterior.loc[frame.index, "measurement_sd"].to_numpy(float) ** 2
    law = replace(law, start_var=law.start_var + gauge)
    came = (frame["limit_wear_mm"].to_numpy(float)) - seen["wear_mm"].to_numpy(float)
    sample = law.left_mm(EVEN[:, None], flown).T
    low, middle, high = law.left_mm(LEVELS[:, None], flown)
    left = law.remaining_mm - law.flown * law.rate  # of the model, from which the type's average goes on
    average = left - average_rate(frame, fit_then).to_numpy(float) * flown
    lines = straight_lines(then).loc[frame.index]
    line = frame["limit_wear_mm"] - lines["level"] - lines["slope"] * (at + flown)
    return pd.DataFrame(
        {
            "serial": frame["serial"],
            "low": low,
            "middle": middle,
            "high": high,
            "came": came,
            "pit": (sample < came[:, None]).mean(axis=1),
            "crps": score.crps_sample(came, sample),
            "average_life": average,
            "straight_line": line.fillna(pd.Series(average, index=frame.index)).to_numpy(float),
        }
    )
