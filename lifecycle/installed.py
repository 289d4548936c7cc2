"""Every brake on an aircraft as it stands today: last reading, landings since, due or not, law of what is left."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.days import day_number, day_numbers
from lifecycle.exposure import Runs
from lifecycle.flying import Flying
from lifecycle.life import Passage
from lifecycle.pins_apart import as_read
from lifecycle.wear import FleetFit
from lifecycle.wear_case import ONLY_CHECKED

# Below 3 degrees of freedom Student's tails say nothing that a planner could use.
DOF_MIN: Final = 3.0


@dataclass(frozen=True)
class Installed:
    """
    Brakes on aircraft on one day, n of them.

    Attributes
    ----------
    frame : DataFrame of n rows
        Index into `Runs.runs`, all its columns, and ``pin_mm``, ``read_on`` (last reading with a value that was not
        refused, or the one by which it is due), ``due`` (bool: at or past the limit by a reading), ``due_because``
        (why that reading is out of the rate, "" if it is in), ``rate_mm``, ``kind``, ``fit_warnings``, ``copied``
        (bool: its last readings are copies and nothing was read since), ``known_since`` (day of the last usable
        reading, or of the present installation if that is later), ``flown`` (braked landings since that reading),
        ``projected`` (those of them not yet on record), ``limit_wear_mm`` (wear of the run at its
        limit), ``gated_mm``, ``gated_on``, ``gated_why``, ``gated_flown`` (the last reading out of the rate that says
        less is left than any in it, and landings since; NaN if none), ``since_read`` (braked landings since
        ``read_on``), ``seen_on``, ``since_seen`` (last reading with a value, even where an earlier one makes the brake
        due, and landings since), ``later_mm``, ``later_on`` (last reading in the rate, above the limit, after a held
        one that makes the brake due; NaN if none), ``out_because`` (why the last reading with a value is out of the
        rate, "" if it is in or there is none), ``used_mm``, ``used_on`` (last reading in the rate; NaN if none),
        ``checked_on`` (last check "within limit" without a value; NaT if none).
    law : Passage of n brakes
        Landings to the limit by the rate; NaN where no limit or no wear is known.
    """

    frame: pd.DataFrame
    law: Passage


def installed_brakes(runs: Runs, fit: FleetFit, flying: Flying, on: dt.date, *, base: str = "") -> Installed:
    """
    The brakes fitted on a day.

    Parameters
    ----------
    runs : Runs
        Heat sink runs as known on the day.
    fit : FleetFit
        Posterior of each run.
    flying : Flying
        To project landings that are not on record yet.
    on : date
        The day.
    base : str
        Only brakes at this base; "" for all.

    Returns
    -------
    Installed
        One row a brake, in the order of `Runs.runs`.

    Notes
    -----
    A brake is due by a reading at or past its limit, in exact decimals, whether that reading is used in the rate or
    not: held, hot or released ones count, refused ones do not. A held one stands until it is ruled on. Any other is
    cleared only by a later usable reading above the limit of all its pins.
    """
    frame = runs.runs[runs.runs["fitted"]]
    if base:
        frame = frame[frame["base"] == base]
    post = fit.posterior.loc[frame.index]
    readings = runs.readings[runs.readings["run"].isin(frame.index) & (runs.readings["why_not"] != "refused")]
    since = _known_since(runs, readings).reindex(frame.index)
    ago = day_numbers(since) - day_number(on)
    projected = flying.not_yet_recorded(frame["aircraft"].to_numpy(), np.minimum(ago, 0))
    frame = frame.assign(
        rate_mm=post["rate_mm"],
        kind=post["kind"],
        known_since=since,
        fit_warnings=post["warnings"],
        copied=post["copied"] > 0,
        projected=projected,
        flown=(frame["landings"] - post["landings_at"]).clip(lower=0) + projected,
    )
    frame = (
        frame.join(last_readings(readings))
        .join(_due(readings, fit.copies))
        .join(_shortest_unexplained(readings, fit))
    )
    frame = frame.join(_later(readings, frame, fit)).join(_rests_on(readings, fit)).join(_checked(readings))
    frame["out_because"] = frame["out_because"].fillna("")
    # The wear and the length left of a reading add up to the start and the re-shims by then; one done since shows in
    # the next reading, until when the brake counts as due sooner than it is.
    start_and_steps = (frame["read_wear_mm"] + frame["pin_mm"]).fillna(frame["start_mm"])
    frame["limit_wear_mm"] = start_and_steps - frame["limit_mm"]
    frame["due"] = frame["due_on"].notna()
    frame[["seen_on", "seen_landings"]] = frame[["read_on", "read_landings"]]
    for shown, of_due in (("pin_mm", "due_mm"), ("read_on", "due_on"), ("read_landings", "due_landings")):
        frame[shown] = frame[of_due].where(frame["due"], frame[shown])
    frame["gated_flown"] = frame["landings"] + frame["projected"] - frame["gated_landings"]
    frame["since_read"] = _flown_since(frame, flying, on, "read_on", "read_landings")
    frame["since_seen"] = _flown_since(frame, flying, on, "seen_on", "seen_landings")
    return Installed(frame, law_of(frame, post))


def _known_since(runs: Runs, readings: pd.DataFrame) -> pd.Series:
    """The later of each run's last usable reading and its present installation: landings count from there."""
    fitted_on = runs.spans.groupby("run")["from_on"].max()
    read_on = readings[readings["usable"]].groupby("run")["day"].max().reindex(fitted_on.index)
    return fitted_on.where(read_on.isna() | (fitted_on > read_on), read_on)


def _flown_since(frame: pd.DataFrame, flying: Flying, on: dt.date, day: str, landings: str) -> pd.Series:
    """Braked landings since a reading, those not on record yet projected; NaN where there is none."""
    ago = np.minimum(day_numbers(frame[day]) - day_number(on), 0)
    return frame["landings"] - frame[landings] + flying.not_yet_recorded(frame["aircraft"].to_numpy(), ago)


def last_readings(readings: pd.DataFrame) -> pd.DataFrame:
    """
    Last reading with a value of each run.

    Parameters
    ----------
    readings : DataFrame
        Rows of `Runs.readings`, refused ones left out.

    Returns
    -------
    DataFrame, one row a run that was read
        ``pin_mm`` (length left as measured), ``read_on``, ``read_wear_mm`` (by it), ``read_landings`` (of the run by
        then); index run.
    """
    valued = readings[readings["left_mm"].notna()]
    last = valued.groupby("run").tail(1).set_index("run")
    shown = last.assign(wear_mm=last["wear_mm"] + last["left_mm"] - as_read(last), left_mm=as_read(last))
    return shown[["left_mm", "day", "wear_mm", "landings"]].set_axis(
        ["pin_mm", "read_on", "read_wear_mm", "read_landings"], axis="columns"
    )


def _due(readings: pd.DataFrame, copies: Collection[int]) -> pd.DataFrame:
    """Of each run the last reading at or past the limit that nothing has cleared, a copy of an earlier one least."""
    # What was read without the shortest pin says nothing of it that could clear a low reading.
    whole = as_read(readings) == readings["left_mm"]
    copied = readings["record"].isin(copies)
    high = readings[readings["usable"] & whole & ~copied & ~readings["at_or_below"]]
    clears = high.groupby("run")["day"].max()
    low = readings[readings["at_or_below"]].assign(left_mm=as_read)
    cleared = low["day"].to_numpy() < clears.reindex(low["run"]).to_numpy()
    standing = low[~cleared | (low["why_not"] == "held")].groupby("run").tail(1).set_index("run")
    return standing[["left_mm", "day", "landings", "why_not"]].set_axis(
        ["due_mm", "due_on", "due_landings", "due_because"], axis="columns"
    )


def _later(readings: pd.DataFrame, frame: pd.DataFrame, fit: FleetFit) -> pd.DataFrame:
    """Of each run due by a reading the last one in the rate since, above the limit; only a held one lets it be."""
    gated = readings["record"].isin(fit.out_of_the_rate)
    whole = as_read(readings) == readings["left_mm"]  # false where no length is known
    high = readings[readings["usable"] & whole & ~gated & ~readings["at_or_below"]]
    since = high[high["day"].to_numpy() > frame["due_on"].reindex(high["run"]).to_numpy()]
    last = since.groupby("run").tail(1).set_index("run")
    return last[["left_mm", "day"]].set_axis(["later_mm", "later_on"], axis="columns")


def _rests_on(readings: pd.DataFrame, fit: FleetFit) -> pd.DataFrame:
    """Of each run why its last reading with a value is out of the rate, and the last one that is in it."""
    gated = readings["record"].isin(fit.out_of_the_rate)
    out = readings["why_not"].mask(gated & readings["usable"], "unexplained")
    told = readings.assign(out=out.mask(readings["record"].isin(fit.copies), "copied"))
    told = told[told["left_mm"].notna()].assign(left_mm=as_read)
    last = told.groupby("run").tail(1).set_index("run")["out"].rename("out_because")
    used = told[told["out"] == ""].groupby("run").tail(1).set_index("run")[["left_mm", "day"]]
    return last.to_frame().join(used.set_axis(["used_mm", "used_on"], axis="columns"))


def _checked(readings: pd.DataFrame) -> pd.DataFrame:
    """Of each run the day of its last check "within limit" without a value."""
    passed = readings[(readings["why_not"] == ONLY_CHECKED) & ~readings["at_or_below"]]
    return passed.groupby("run")["day"].max().rename("checked_on").to_frame()


def _shortest_unexplained(readings: pd.DataFrame, fit: FleetFit) -> pd.DataFrame:
    """Of each run the last reading out of the rate, if it is as short as any: the planner sees what it would give."""
    # A copy repeats what is in the rate already and says less of what is left.
    gated = readings["record"].isin(fit.out_of_the_rate) & ~readings["record"].isin(fit.copies)
    out = readings[(gated | (readings["why_not"] == "held")) & readings["left_mm"].notna()]
    last = out.groupby("run").tail(1).set_index("run")
    shortest = readings[readings["usable"]].groupby("run")["left_mm"].min()
    last = last[last["left_mm"] <= shortest.reindex(last.index).fillna(np.inf)]
    last = last[["left_mm", "day", "landings", "why_not"]]
    return last.set_axis(["gated_mm", "gated_on", "gated_landings", "gated_why"], axis="columns")


def law_of(frame: pd.DataFrame, post: pd.DataFrame) -> Passage:
    """
    Law of the landings to the limit of some runs.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``limit_wear_mm`` (wear of the run at the limit) and ``flown`` (braked landings since its last usable reading).
    post : DataFrame of n rows
        Their posterior, as in `FleetFit.posterior`.

    Returns
    -------
    Passage of n brakes
        With sw^2 = sigma^2 P + gap^2 V and c = gap V, so that Q(n) holds sigma^2 P + (n + gap)^2 V + s^2 n.
    """
    rate_var, gap = post["rate_var"].to_numpy(float), post["gap"].to_numpy(float)
    filtered = post["measurement_sd"].to_numpy(float) ** 2 * post["filter_p"].to_numpy(float)
    return Passage(
        remaining_mm=(frame["limit_wear_mm"] - post["wear_mm"]).to_numpy(float),
        rate=post["rate_mm"].to_numpy(float),
        rate_var=rate_var,
        path_sd=post["path_sd"].to_numpy(float),
        start_var=filtered + gap**2 * rate_var,
        start_cov=gap * rate_var,
        flown=frame["flown"].to_numpy(float),
        dof=np.maximum(post["dof"].to_numpy(float), DOF_MIN),
    )
