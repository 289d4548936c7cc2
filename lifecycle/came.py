"""What came of each heat sink run, as later records tell it: when its wear reached the limit, and its next readings."""

from typing import Final

import pandas as pd

from lifecycle.exposure import Runs
from lifecycle.wear import FleetFit

RUN: Final = ["brake", "run_number"]


def passages(runs: Runs, fit: FleetFit) -> pd.DataFrame:
    """
    When each run reached its limit.

    Parameters
    ----------
    runs, fit : Runs, FleetFit
        By the latest records.

    Returns
    -------
    DataFrame, one row a run
        Index (brake, run number). ``passed_at`` (braked landings of the run, NaN if it has not, or nobody can tell) and
        ``passed_on`` (day), ``until`` (landings through which it was watched), ``after`` (landings of that position
        since the run left it).

    Notes
    -----
    Between the first reading at or below the limit and the one before it the pin is taken to fall evenly. A run taken
    off as worn before its limit would have reached it at its own rate; other removals leave it open.
    """
    frame = runs.runs
    low = _first_low(runs, fit)
    worn = _rest_of_worn(runs, fit)
    found = low.combine_first(worn).reindex(frame.index)
    table = pd.DataFrame(
        {
            "brake": frame["brake"],
            "run_number": frame["run"],
            "passed_at": found["at"],
            "passed_on": found["day"],
            "until": frame["landings"],
            "after": _after(runs.spans).reindex(frame.index).fillna(0.0),
        }
    )
    return table.set_index(RUN)


def readings_in_the_rate(runs: Runs, fit: FleetFit) -> pd.DataFrame:
    """
    Readings that the records can explain.

    Parameters
    ----------
    runs, fit : Runs, FleetFit
        By the latest records.

    Returns
    -------
    DataFrame
        Rows of `Runs.readings` in the order of their landings, with ``above``, their distance from the limit, mm.
    """
    read = runs.readings[runs.readings["usable"] & ~runs.readings["record"].isin(fit.out_of_the_rate)]
    limit = read["run"].map(runs.runs["limit_mm"])
    return read.assign(above=read["left_mm"] - limit).sort_values(["run", "landings"], kind="stable")


def _first_low(runs: Runs, fit: FleetFit) -> pd.DataFrame:
    read = readings_in_the_rate(runs, fit)
    before = read.groupby("run")[["landings", "above", "day"]].shift(1)
    low = read[read["at_or_below"]].drop_duplicates("run")
    before = before.loc[low.index].set_axis(low["run"])
    low = low.set_index("run")
    # With nothing read before it, the reading itself is all that is known.
    fall = before["above"] - low["above"]
    share = (before["above"] / fall).where(fall > 0).clip(0, 1).fillna(1.0)
    at = low["landings"] - (1 - share) * (low["landings"] - before["landings"]).fillna(0.0)
    day = low["day"] - (1 - share) * (low["day"] - before["day"]).fillna(pd.Timedelta(0))
    return pd.DataFrame({"at": at, "day": day.dt.round("D")})


def _rest_of_worn(runs: Runs, fit: FleetFit) -> pd.DataFrame:
    frame = runs.runs[runs.runs["end_reason"] == "worn"]
    last = readings_in_the_rate(runs, fit).groupby("run").tail(1).set_index("run").reindex(frame.index)
    rate = fit.posterior["rate_mm"].reindex(frame.index)
    at = last["landings"] + (last["above"] / rate).where(rate > 0).clip(lower=0)
    return pd.DataFrame({"at": at.clip(lower=frame["landings"]), "day": frame["ended_on"]})


def _after(spans: pd.DataFrame) -> pd.Series:
    """Landings of the same position in the stays that came after a run's last one there."""
    stays = spans.sort_values(["aircraft", "position", "from_on"], kind="stable")
    landed = stays["landings_to"] - stays["landings_from"]
    place = [stays["aircraft"], stays["position"]]
    rest = landed.groupby(place).transform("sum") - landed.groupby(place).cumsum()
    return rest.groupby(stays["run"]).last()


def next_readings(runs: Runs, fit: FleetFit, after: pd.Timestamp) -> pd.DataFrame:
    """
    The first reading in the rate of each run after a day.

    Parameters
    ----------
    runs, fit : Runs, FleetFit
        By the latest records; a reading that they cannot explain does not count.
    after : Timestamp
        The day.

    Returns
    -------
    DataFrame, one row a run that was read after it
        Index (brake, run number). ``landings`` (of the run), ``wear_mm``, ``segment``, ``day``.
    """
    read = readings_in_the_rate(runs, fit)
    first = read[read["day"] > after].drop_duplicates("run").set_index("run")
    keys = runs.runs.loc[first.index, ["brake", "run"]].set_axis(RUN, axis="columns")
    return first[["landings", "wear_mm", "segment", "day"]].join(keys).set_index(RUN)
