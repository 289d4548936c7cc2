"""What one brake has done: its readings, the path through them, installations and heat sink runs."""

import datetime as dt
from collections.abc import Hashable
from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from lifecycle.aircraft import aircraft_on
from lifecycle.days import day_numbers
from lifecycle.exposure import Runs
from lifecycle.forecast import days_or_none
from lifecycle.observations import Records
from lifecycle.pins_apart import as_read
from lifecycle.trace import trace_wear
from lifecycle.wear import FleetFit, prior_rate
from lifecycle.wear_case import ONLY_CHECKED

FIT_POINTS: Final = 40
BAND_SCORE: Final = float(ndtri(0.9))  # an 80 % band


@dataclass(frozen=True)
class ReadingPoint:
    """
    One reading; ``why_not`` says why it is out of the rate, "" if it is in it.

    A check "within limit" without a value is in it where it is the last since a reading that is.
    """

    record: int
    run: int
    day: dt.date
    landings: float
    left_mm: float | None
    used: bool
    why_not: str
    at_or_below: bool


@dataclass(frozen=True)
class PinOffset:
    """
    One pin of the latest run beside its governing pin, mm and mm per landing, intervals 80 %.

    ``offset_mm`` is how much longer it is; it and its interval are 0 for the governing pin. ``growth`` of that is None
    with fewer than three readings; ``readings`` are those with all pins. ``uneven``: the pins wear further apart.
    """

    pin: int
    governs: bool
    readings: int
    offset_mm: float
    offset_low: float
    offset_high: float
    growth: float | None
    growth_low: float | None
    growth_high: float | None
    uneven: bool


@dataclass(frozen=True)
class FitPoint:
    """Length left in the past as the model sees it, mm, with its 80 % band."""

    landings: float
    day: dt.date
    left_mm: float
    left_low: float
    left_high: float


@dataclass(frozen=True)
class Stay:
    """One installation; landings are those of the brake in it."""

    record: int
    run: int
    registration: str
    position: str
    base: str
    from_on: dt.date
    to_on: dt.date | None
    removal_reason: str
    landings: float


@dataclass(frozen=True)
class RunLine:
    """One heat sink run; state is ``fitted``, ``off`` (between installations) or ``finished``."""

    run: int
    started_on: dt.date | None
    ended_on: dt.date | None
    end_reason: str
    landings: float
    readings: int
    rate_mm_per_landing: float
    rate_sd: float
    state: str


def run_states(frame: pd.DataFrame) -> list[str]:
    """
    Where runs stand.

    Parameters
    ----------
    frame : DataFrame of n rows
        Rows of `Runs.runs`.

    Returns
    -------
    list of str
        ``fitted``, ``finished`` or ``off`` (between installations), n entries.
    """
    gone = np.where(frame["ended_on"].isna(), "off", "finished")
    return [str(state) for state in np.where(frame["fitted"], "fitted", gone)]


def reading_points(runs: Runs, fit: FleetFit) -> tuple[ReadingPoint, ...]:
    """
    Readings of some runs, in time order.

    Parameters
    ----------
    runs : Runs
        Of one brake.
    fit : FleetFit
        Tells which of the usable readings it kept out.

    Returns
    -------
    tuple of ReadingPoint
        One entry a reading, refused ones included.
    """
    read = runs.readings.sort_values(["run", "day"], kind="stable")
    copied = read["record"].isin(fit.copies)
    told = read["why_not"].mask(_kept_out(read, fit), "unexplained").mask(copied, "copied").astype(str)
    why = told.mask(_check_in_the_rate(runs, read, told), "").tolist()
    rows = zip(
        read["record"].tolist(),
        read["run"].map(runs.runs["run"]).tolist(),
        read["day"].to_numpy("datetime64[D]").tolist(),
        read["landings"].tolist(),
        (float(left) if np.isfinite(left) else None for left in as_read(read).to_numpy(float)),
        (not text for text in why),
        why,
        read["at_or_below"].tolist(),
        strict=True,
    )
    return tuple(ReadingPoint(*row) for row in rows)


def pin_offsets(runs: Runs, place: int) -> tuple[PinOffset, ...]:
    """
    Offsets between the pins of one run.

    Parameters
    ----------
    runs : Runs
        With their pins.
    place : int
        Index of the run.

    Returns
    -------
    tuple of PinOffset
        By pin; empty where only one was ever read, or never all in one reading.
    """
    if runs.pins is None:
        return ()
    mine = runs.pins[runs.pins["run"] == place]
    columns = [
        mine[field.name].astype(object).where(mine[field.name].notna(), None) for field in fields(PinOffset)
    ]
    return tuple(PinOffset(*row) for row in zip(*columns, strict=True))


def _kept_out(readings: pd.DataFrame, fit: FleetFit) -> pd.Series:
    return readings["record"].isin(fit.out_of_the_rate) & readings["usable"]


def _check_in_the_rate(runs: Runs, read: pd.DataFrame, why: pd.Series) -> pd.Series:
    """Of each run the last check "within limit", where none in the rate was read since and a limit is known."""
    checks = (why == ONLY_CHECKED) & ~read["at_or_below"]
    last = read[checks].drop_duplicates("run", keep="last").index
    used = read[why == ""].groupby("run")["landings"].max()
    since = read["landings"] > read["run"].map(used).fillna(0.0)
    return since & read.index.isin(last) & read["run"].map(runs.runs["limit_mm"]).notna()


def fit_points(runs: Runs, fit: FleetFit, place: int) -> tuple[FitPoint, ...]:
    """
    The path of one run as the model sees it through the readings since its level was last set.

    Parameters
    ----------
    runs : Runs
        Of one brake.
    fit : FleetFit
        Fit of the fleet.
    place : int
        Index of the run.

    Returns
    -------
    tuple of FitPoint
        From the start, or the first reading where that is not known, to the last; empty without a usable reading.
    """
    run = runs.runs.loc[place].to_dict()
    read = runs.readings[(runs.readings["run"] == place) & runs.readings["usable"]]
    read = read[~_kept_out(read, fit)]
    level = (read["segment"].diff().fillna(read["segment"]) > 0) | read["record"].isin(fit.reopening)
    read = read[level.cumsum() == level.sum()]
    if read.empty:
        return ()
    known = bool(run["known_start"]) and not level.any()
    landings = read["landings"].to_numpy(float)
    at = np.linspace(0.0 if known else landings[0], landings[-1], FIT_POINTS)
    trace = trace_wear(
        at,
        landings=landings,
        wear_mm=read["wear_mm"].to_numpy(float),
        prior=prior_rate(fit, run["brake_type"], run["position_group"], run["base"]),
        known_start=known,
        measurement_sd=float(fit.posterior["measurement_sd"][place]),
    )
    # Re-shims lift the pin: what wear and length left of a reading add up to holds from that reading on.
    lifted = (read["wear_mm"] + read["left_mm"]).to_numpy(float)
    first = float(run["start_mm"]) if known else lifted[0]
    pin = np.append(first, lifted)[np.searchsorted(landings, at, side="right")]
    middle, half = pin - trace.wear_mm, BAND_SCORE * trace.sd_mm
    days = _days_at(at, run, read)
    columns = (at, middle, middle - half, middle + half)
    rows = zip(*(column.tolist() for column in columns), days, strict=True)
    return tuple(FitPoint(x, day, left, low, high) for x, left, low, high, day in rows)


def _days_at(
    landings: npt.NDArray[np.float64], run: dict[Hashable, Any], read: pd.DataFrame
) -> list[dt.date]:
    """Days at which the run had so many landings, straight between the days known."""
    days = read["day"].to_numpy("datetime64[D]").astype(float)
    flown = read["landings"].to_numpy(float)
    if not pd.isna(run["started_on"]) and flown[0] > 0:
        days = np.append(np.datetime64(run["started_on"], "D").astype(float), days)
        flown = np.append(0.0, flown)
    found = np.interp(landings, flown, days)
    return [day.item() for day in np.round(found).astype("datetime64[D]")]


def stays_of(runs: Runs, records: Records) -> tuple[Stay, ...]:
    """
    Installations of some runs, earliest first.

    Parameters
    ----------
    runs : Runs
        Of one brake.
    records : Records
        For registrations and removal reasons.

    Returns
    -------
    tuple of Stay
        One entry an installation; the registration is the one of its first day.
    """
    spans = runs.spans.sort_values("from_on", kind="stable")
    if spans.empty:
        return ()
    code = pd.Index(records.aircraft["aircraft"]).get_indexer(pd.Index(spans["aircraft"])).astype(np.int64)
    registrations = aircraft_on(records, "registration", code, day_numbers(spans["from_on"]))
    reasons = records.installations.set_index("record")["removal_reason"].reindex(spans["record"]).fillna("")
    rows = zip(
        spans["record"].tolist(),
        spans["run"].map(runs.runs["run"]).tolist(),
        map(str, registrations),
        spans["position"].astype(str),
        spans["base"].astype(str),
        days_or_none(spans["from_on"]),
        days_or_none(spans["to_on"]),
        reasons.where(spans["to_on"].notna().to_numpy(), "").astype(str),
        (spans["landings_to"] - spans["landings_from"]).tolist(),
        strict=True,
    )
    return tuple(Stay(*row) for row in rows)


def run_lines(runs: Runs, fit: FleetFit) -> tuple[RunLine, ...]:
    """
    Heat sink runs with their rates, latest first.

    Parameters
    ----------
    runs : Runs
        Of one brake.
    fit : FleetFit
        Posterior of each run.

    Returns
    -------
    tuple of RunLine
        One entry a run.
    """
    post, frame = fit.posterior.loc[runs.runs.index], runs.runs
    rows = zip(
        frame["run"].tolist(),
        days_or_none(frame["started_on"]),
        days_or_none(frame["ended_on"]),
        frame["end_reason"].astype(str).tolist(),
        frame["landings"].tolist(),
        post["readings"].tolist(),
        post["rate_mm"].tolist(),
        np.sqrt(post["rate_var"]).tolist(),
        run_states(frame),
        strict=True,
    )
    return tuple(RunLine(*row) for row in reversed(list(rows)))
