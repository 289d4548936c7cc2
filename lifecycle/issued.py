"""Forecasts as they were shown and kept, held against what came."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle import score
from lifecycle.came import RUN, passages
from lifecycle.study import Study

MOST_MISSES: Final = 60
QUANTILES: Final = {"date_p10": 0.1, "date_p50": 0.5, "date_p90": 0.9}


@dataclass(frozen=True)
class Issued:
    """One forecast of one brake as it was shown on a day."""

    study: str
    shown_on: dt.date
    serial: str
    brake_type: str
    date_p10: dt.date
    date_p50: dt.date
    date_p90: dt.date


@dataclass(frozen=True)
class IssuedMiss:
    """A forecast outside whose range the limit was reached; ``came`` is None where it has not been yet."""

    forecast: Issued
    came: dt.date | None
    side: str


@dataclass(frozen=True)
class IssuedScore:
    """
    Forecasts that were shown and kept, as issued; their whole range lies in the past.

    ``sooner`` and ``later`` are outcomes before and after their range, ``bias_days`` the mean of forecast (P50) less
    fact, the pinball scores those of the three days shown; None without an outcome. ``misses`` are the widest first.
    """

    studies: int
    outcomes: int
    inside: int
    coverage_80: float | None
    bias_days: float | None
    sooner: int = 0
    later: int = 0
    pinball_days_p10: float | None = None
    pinball_days_p50: float | None = None
    pinball_days_p90: float | None = None
    misses: tuple[IssuedMiss, ...] = ()


def score_issued(study: Study, issued: Iterable[Issued]) -> IssuedScore:
    """
    Score forecasts as they were shown.

    Parameters
    ----------
    study : Study
        What is known now.
    issued : iterable of Issued
        Forecasts; of several of one brake on one day the last counts.

    Returns
    -------
    IssuedScore
        Of those whose whole range lies in the past; days, since that is what was shown.

    Notes
    -----
    Which forecasts count is settled by the forecast alone: those whose P90 has passed. A limit that has not been
    reached counts as reached today, so that a forecast too early is a miss and its distance is told as the least that
    it can be.
    """
    rows = {
        (each.serial, each.brake_type, each.shown_on): each for each in issued if each.date_p90 <= study.on
    }
    seen = passages(study.runs, study.fit).join(
        study.runs.runs.set_axis(
            pd.MultiIndex.from_frame(study.runs.runs[["brake", "run"]].set_axis(RUN, axis="columns"))
        )[["serial", "brake_type", "started_on", "ended_on"]]
    )
    by_name = dict(iter(seen.groupby(["serial", "brake_type"])))
    found = []
    for each in rows.values():
        came = _came(by_name.get((each.serial, each.brake_type)), each, study.on)
        if came is not None:
            found.append((each, *came))
    return _scored(len({each.study for each in rows.values()}), found)


def _scored(studies: int, found: list[tuple[Issued, dt.date, bool]]) -> IssuedScore:
    sooner = sum(came < each.date_p10 for each, came, _ in found)
    later = sum(came > each.date_p90 for each, came, _ in found)
    if not found:
        return IssuedScore(studies, 0, 0, None, None)
    came = np.array([_number(day) for _, day, _ in found])
    days = np.array([[_number(getattr(each, name)) for each, _, _ in found] for name in QUANTILES])
    inside = len(found) - sooner - later
    pinball = [
        float(score.pinball(came, row, level=level).mean())
        for row, level in zip(days, QUANTILES.values(), strict=True)
    ]
    return IssuedScore(
        studies=studies,
        outcomes=len(found),
        inside=inside,
        coverage_80=inside / len(found),
        bias_days=float((days[1] - came).mean()),
        sooner=sooner,
        later=later,
        pinball_days_p10=pinball[0],
        pinball_days_p50=pinball[1],
        pinball_days_p90=pinball[2],
        misses=_misses(found),
    )


def _number(day: dt.date) -> float:
    return float(day.toordinal())


def _misses(found: list[tuple[Issued, dt.date, bool]]) -> tuple[IssuedMiss, ...]:
    missed = [
        (max((each.date_p10 - came).days, (came - each.date_p90).days), each, came, has_come)
        for each, came, has_come in found
        if not each.date_p10 <= came <= each.date_p90
    ]
    missed.sort(key=lambda row: (-row[0], row[1].shown_on, row[1].serial))
    return tuple(
        IssuedMiss(each, came if has_come else None, "sooner" if came < each.date_p10 else "later")
        for _, each, came, has_come in missed[:MOST_MISSES]
    )


def _came(runs: pd.DataFrame | None, shown: Issued, on: dt.date) -> tuple[dt.date, bool] | None:
    """The day on which the run of that day reached its limit; today where it lasts still, None where that is open."""
    if runs is None:
        return None
    day = pd.Timestamp(shown.shown_on)
    then = runs[(runs["started_on"] <= day) & ~(runs["ended_on"] <= day)]
    if then.empty:
        return None
    last = then.iloc[-1]
    if not pd.isna(last["passed_on"]):
        return pd.Timestamp(last["passed_on"]).date(), True
    return (on, False) if pd.isna(last["ended_on"]) else None
