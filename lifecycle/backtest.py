"""Forecasts against facts: past forecasts made again with only what was known then, and those that were shown."""

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle import score
from lifecycle.forecast import DAYS_MAX
from lifecycle.hindcast import hindcast, hindcast_readings
from lifecycle.issued import Issued, IssuedScore, score_issued
from lifecycle.issued_looks import NO_LOOKS, LooksScore
from lifecycle.issued_spares import NO_SPARES, SparesScore
from lifecycle.study import Study

NOMINAL: Final = 0.8
MOST_MISSES: Final = 60
FIRST_SHARE: Final = 0.35  # of the history: before that there is little to forecast from
LAST_SHARE: Final = 0.9


@dataclass(frozen=True)
class Miss:
    """
    A change-out outside its range; ``came`` is None where the limit has not been reached yet.

    The dates are None where the aircraft was not expected to fly so many landings.
    """

    serial: str
    brake_type: str
    origin: dt.date
    p10: float
    p90: float
    came_landings: float | None
    date_p10: dt.date | None
    date_p90: dt.date | None
    came: dt.date | None
    side: str


@dataclass(frozen=True)
class ReadingScore:
    """Next readings against their forecasts, mm; None without one. Bias is forecast less fact."""

    outcomes: int
    inside: int
    coverage_80: float | None
    crps_mm: float | None
    crps_average_life_mm: float | None
    crps_straight_line_mm: float | None
    bias_mm: float | None
    pit: tuple[float, ...]


@dataclass(frozen=True)
class Score:
    """
    How right forecasts have been.

    Attributes
    ----------
    origins, outcomes, inside : int
        Days forecast from, change-outs whose range has run out, and how many came inside their 80 % range.
    coverage_80 : float or None
        inside / outcomes; None, as all that follow, without an outcome.
    crps, crps_average_life, crps_straight_line : float or None
        Continuous ranked probability score in landings, of the forecast and of the two plain rivals, whose single
        figure scores its distance.
    bias_landings, bias_days : float or None
        Mean of forecast (P50) less fact: above 0 where brakes came due sooner than forecast.
    pit : tuple of float
        Share of outcomes in each tenth of their forecasts.
    pinball_p10, pinball_p50, pinball_p90 : float or None
        Scores of the three quantiles, landings.
    crps_if_right : float or None
        The score that the forecasts would reach on average were they the truth: the limit as they see it.
    origin_days : tuple of date
        The days forecast from.
    as_known : int
        Of them, those at which the ledger tells what was known; at the others, records brought in later are taken as
        known when they took effect.
    next_reading : ReadingScore
        The next reading of every brake.
    misses : tuple of Miss
        The widest first.
    issued : IssuedScore
        Of forecasts that were shown.
    issued_spares : SparesScore
        Of spares that were shown.
    issued_looks : LooksScore
        Of latest days for a reading that were shown.
    """

    origins: int
    outcomes: int
    coverage_80: float | None
    crps: float | None
    crps_average_life: float | None
    crps_straight_line: float | None
    bias_landings: float | None
    pit: tuple[float, ...]
    inside: int
    bias_days: float | None
    pinball_p10: float | None
    pinball_p50: float | None
    pinball_p90: float | None
    crps_if_right: float | None
    origin_days: tuple[dt.date, ...]
    as_known: int
    next_reading: ReadingScore
    misses: tuple[Miss, ...]
    issued: IssuedScore
    issued_spares: SparesScore = NO_SPARES
    issued_looks: LooksScore = NO_LOOKS


@dataclass(frozen=True)
class Then:
    """A study as it would have been opened on a past day; ``as_known`` is False where that takes hindsight."""

    study: Study
    as_known: bool


def origins_for(study: Study, count: int) -> tuple[dt.date, ...]:
    """
    Days to forecast from again, evenly over the later part of the history.

    Parameters
    ----------
    study : Study
        Its readings span the history.
    count : int
        How many days, 1 or more.

    Returns
    -------
    tuple of date
        None where nothing was read.
    """
    days = study.runs.readings["day"]
    if days.empty:
        return ()
    first, span = days.min().date(), (study.on - days.min().date()).days
    shares = np.linspace(FIRST_SHARE, LAST_SHARE, count)
    return tuple(dict.fromkeys(first + dt.timedelta(days=int(span * share)) for share in shares))


def backtest(
    study: Study,
    origins: Sequence[dt.date],
    opened: Callable[[dt.date], Then],
    issued: Iterable[Issued] = (),
) -> Score:
    """
    Forecast again from past days and score what came.

    Parameters
    ----------
    study : Study
        What is known now.
    origins : sequence of date
        Past days.
    opened : callable
        The study of such a day with only what was known then.
    issued : iterable of Issued
        Forecasts that were shown.

    Returns
    -------
    Score
        Pooled over the days. A brake that is forecast from several days counts once for each.
    """
    changes, readings, known = [], [], 0
    for origin in origins:
        then = opened(origin)
        known += then.as_known
        was = (then.study.runs, then.study.fit, then.study.flying, origin)
        changes.append(hindcast(*was, study.runs, study.fit, study.on))
        readings.append(hindcast_readings(*was, study.runs, study.fit))
    return _score(_pooled(changes), _pooled(readings), tuple(origins), known, score_issued(study, issued))


def _pooled(tables: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [table for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else pd.DataFrame()


def _score(
    changes: pd.DataFrame,
    readings: pd.DataFrame,
    origins: tuple[dt.date, ...],
    as_known: int,
    issued: IssuedScore,
) -> Score:
    none = changes.empty
    inside = 0 if none else int(changes["came"].between(changes["p10"], changes["p90"]).sum())

    def mean(values: Callable[[], object]) -> float | None:
        if none:
            return None
        found = np.asarray(values(), dtype=float)
        # A day that cannot be given (an aircraft that does not fly) is no forecast of a day.
        seen = found[np.isfinite(found)]
        return float(seen.mean()) if seen.size else None

    def away(rival: str) -> float | None:
        return None if none else mean((changes[rival].clip(upper=changes["horizon"]) - changes["came"]).abs)

    def quantile(name: str, level: float) -> float | None:
        return mean(lambda: score.pinball(changes["came"], changes[name], level=level))

    return Score(
        origins=len(origins),
        outcomes=len(changes),
        coverage_80=None if none else inside / len(changes),
        crps=mean(lambda: changes["crps"]),
        crps_average_life=away("average_life"),
        crps_straight_line=away("straight_line"),
        bias_landings=mean(lambda: changes["p50"] - changes["came"]),
        pit=() if none else score.pit_shares(changes["pit"]),
        inside=inside,
        bias_days=mean(lambda: changes["days_p50"] - changes["came_days"]),
        pinball_p10=quantile("p10", 0.1),
        pinball_p50=quantile("p50", 0.5),
        pinball_p90=quantile("p90", 0.9),
        crps_if_right=mean(lambda: changes["crps_if_right"]),
        origin_days=origins,
        as_known=as_known,
        next_reading=_reading_score(readings),
        misses=() if none else _misses(changes),
        issued=issued,
    )


def _reading_score(readings: pd.DataFrame) -> ReadingScore:
    if readings.empty:
        return ReadingScore(0, 0, None, None, None, None, None, ())
    inside = int(readings["came"].between(readings["low"], readings["high"]).sum())
    return ReadingScore(
        outcomes=len(readings),
        inside=inside,
        coverage_80=inside / len(readings),
        crps_mm=float(readings["crps"].mean()),
        crps_average_life_mm=float((readings["average_life"] - readings["came"]).abs().mean()),
        crps_straight_line_mm=float((readings["straight_line"] - readings["came"]).abs().mean()),
        bias_mm=float((readings["middle"] - readings["came"]).mean()),
        pit=score.pit_shares(readings["pit"]),
    )


def _misses(changes: pd.DataFrame) -> tuple[Miss, ...]:
    early = changes["p10"] - changes["came"]
    late = changes["came"] - changes["p90"]
    away = np.maximum(early, late)
    widest = changes.assign(away=away, early=early > 0)[away > 0].nlargest(MOST_MISSES, "away")
    return tuple(
        Miss(
            serial=str(each["serial"]),
            brake_type=str(each["brake_type"]),
            origin=each["origin"].date(),
            p10=float(each["p10"]),
            p90=float(each["p90"]),
            came_landings=float(each["came"]) if each["has_come"] else None,
            date_p10=_after(each["origin"], each["days_p10"]),
            date_p90=_after(each["origin"], each["days_p90"]),
            came=_after(each["origin"], each["came_days"]) if each["has_come"] else None,
            side="sooner" if each["early"] else "later",
        )
        for each in widest.to_dict("records")
    )


def _after(origin: pd.Timestamp, days: float) -> dt.date | None:
    """The day so far on; none for one that is never flown to, which is counted as a century or more."""
    return (origin + pd.Timedelta(days=float(np.ceil(days)))).date() if days < DAYS_MAX else None
