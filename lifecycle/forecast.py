"""When each installed brake reaches its limit: braked landings, then dates, conditioned on still being fitted."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from lifecycle.cautions import cautions
from lifecycle.exposure import Runs
from lifecycle.flying import Flying
from lifecycle.installed import Installed, installed_brakes
from lifecycle.wear import FleetFit

Floats = npt.NDArray[np.float64]

LEVELS: Final = (0.1, 0.5, 0.9)
DAYS_MAX: Final = 36_525  # a hundred years; nobody plans by a later date


@dataclass(frozen=True)
class ChangeOut:
    """
    Forecast of one installed brake; landings are braked landings after the day forecast from.

    ``landings_at_risk`` and ``date_at_risk`` are those by which the chance to have reached the limit is the risk asked
    for; where the brake is due now they are 0 and the day itself.
    """

    serial: str
    brake_type: str
    registration: str
    position: str
    base: str
    pin_mm: float | None
    limit_mm: float | None
    read_on: dt.date | None
    rate_mm_per_landing: float
    landings_p10: float | None
    landings_p50: float | None
    landings_p90: float | None
    date_p10: dt.date | None
    date_p50: dt.date | None
    date_p90: dt.date | None
    kind: str
    warnings: tuple[str, ...] = ()
    landings_at_risk: float | None = None
    date_at_risk: dt.date | None = None


@dataclass(frozen=True)
class Quantiles:
    """Landings and days from now, arrays of shape (n_levels, n_brakes); infinite where not within sight."""

    landings: Floats
    days: Floats


def forecast_changeouts(  # noqa: PLR0913 - the chain hands over what it has
    runs: Runs, fit: FleetFit, flying: Flying, on: dt.date, *, base: str = "", risk: float = 0.1
) -> tuple[ChangeOut, ...]:
    """
    Landings and dates to the limit of every installed brake, soonest first.

    Parameters
    ----------
    runs, fit, flying : Runs, FleetFit, Flying
        What is fitted where, how it wears, how it is flown.
    on : date
        The day forecast from; a brake due now has 0 landings and this day.
    base : str
        Only brakes at this base; "" for all.
    risk : float
        Chance of having reached the limit that the order is by, above 0 and below 1.

    Returns
    -------
    tuple of ChangeOut
        By date at risk, those without a date last by landings, then aircraft and position. Without a known limit all
        landings and dates are None.

    Notes
    -----
    Kind is ``observed`` where the brake is due by a reading, ``estimated`` where its own readings are used, ``assumed``
    where only its type's are. For planning: inspection decides.
    """
    return forecast_installed(installed_brakes(runs, fit, flying, on, base=base), flying, on, risk=risk)


def forecast_installed(
    installed: Installed, flying: Flying, on: dt.date, *, risk: float = 0.1
) -> tuple[ChangeOut, ...]:
    """
    As `forecast_changeouts`, of brakes already gathered.

    Parameters
    ----------
    installed : Installed
        The brakes.
    flying : Flying
        How they are flown.
    on : date
        The day they were gathered for.
    risk : float
        Chance of having reached the limit that the order is by.

    Returns
    -------
    tuple of ChangeOut
        One entry a brake, soonest first.
    """
    found = due_within(installed, flying, np.array([*LEVELS, risk]))
    notes = cautions(installed, flying, found.days[1], on)
    keys = (*_place(installed), *(np.nan_to_num(row[3], nan=np.inf) for row in (found.landings, found.days)))
    return tuple(_rows(installed, found, on, notes, np.lexsort(keys)))


def due_within(installed: Installed, flying: Flying, levels: Floats) -> Quantiles:
    """
    Landings and days by which the chance to have reached the limit is each level.

    Parameters
    ----------
    installed : Installed
        n brakes.
    flying : Flying
        Landings to come, and how far such forecasts were off.
    levels : array of shape (n_levels,)
        Probabilities, above 0 and below 1.

    Returns
    -------
    Quantiles
        Zero for a brake that is due by a reading; NaN where no limit is known.

    Notes
    -----
    sd(log T)^2 = sd(log N)^2 + cv_u^2 + phi / N: at each level the distance of N from its median on the log scale and
    that of the flying are added in quadrature, and the days are those to that many landings by season or plan.
    """
    aircraft = installed.frame["aircraft"].to_numpy()
    landings = landings_within(installed, levels)
    median = landings[levels == 0.5][0] if 0.5 in levels else landings_within(installed, np.array([0.5]))[0]
    looked_up = with_flying(landings, median, flying, levels[:, None])
    return Quantiles(landings, flying.days_to(aircraft, looked_up))


def landings_within(installed: Installed, levels: Floats) -> Floats:
    """
    Landings by which the chance to have reached the limit is each level.

    Parameters
    ----------
    installed : Installed
        n brakes.
    levels : array of shape (n_levels,)
        Probabilities, above 0 and below 1.

    Returns
    -------
    array of shape (n_levels, n)
        Zero for a brake that is due by a reading; NaN where no limit is known.
    """
    due = installed.frame["due"].to_numpy(bool)
    open_ones = np.isfinite(installed.law.remaining_mm) & ~due
    landings = np.full((levels.size, due.size), np.nan)
    landings[:, open_ones] = installed.law.at(open_ones).landings(levels[:, None])
    landings[:, due] = 0.0
    return landings


def with_flying(landings: Floats, median: Floats, flying: Flying, levels: Floats) -> Floats:
    """
    Landings to look up in the flying ahead, so that the days carry its error too.

    Parameters
    ----------
    landings, median : arrays that broadcast
        Braked landings by which a chance is each level, and is one half.
    flying : Flying
        How far forecasts of landings were off.
    levels : array that broadcasts with landings
        The chances.

    Returns
    -------
    array
        Braked landings, as `due_within` tells.
    """
    middle = np.where(np.isfinite(median) & (median > 0), median, landings)
    score = ndtri(levels)
    with np.errstate(divide="ignore", invalid="ignore"):
        own = np.log(landings / middle)
        error = score**2 * (flying.cv_u**2 + flying.phi / np.maximum(middle, 1.0))
        spread = middle * np.exp(np.sign(score) * np.sqrt(own**2 + error))
    return np.where((landings > 0) & np.isfinite(landings), spread, landings)


def _place(installed: Installed) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.object_]]:
    """Sort keys, the last one first: aircraft, then position."""
    return installed.frame["position"].to_numpy(object), installed.frame["registration"].to_numpy(object)


def _rows(
    installed: Installed,
    found: Quantiles,
    on: dt.date,
    notes: list[tuple[str, ...]],
    order: npt.NDArray[np.intp],
) -> Iterator[ChangeOut]:
    frame = installed.frame.iloc[order]
    landings = [_or_none(row[order]) for row in found.landings]
    dates = [dates_after(on, row[order]) for row in found.days]
    columns = (
        *(frame[name].tolist() for name in ("serial", "brake_type", "registration", "position", "base")),
        *(_or_none(frame[name].to_numpy(float)) for name in ("pin_mm", "limit_mm")),
        days_or_none(frame["read_on"]),
        frame["rate_mm"].tolist(),
        *landings[:3],
        *dates[:3],
        np.where(frame["due"], "observed", frame["kind"]).tolist(),
        [notes[place] for place in order],
        landings[3],
        dates[3],
    )
    return (ChangeOut(*row) for row in zip(*columns, strict=True))


def dates_after(on: dt.date, days: Floats) -> list[dt.date | None]:
    """
    The days on which so many days have passed, counted up to whole ones.

    Parameters
    ----------
    on : date
        The day counted from.
    days : array of shape (n,)
        Days, 0 or more; NaN or more than a hundred years give None.

    Returns
    -------
    list of date or None
        n entries.
    """
    seen = np.isfinite(days) & (days <= DAYS_MAX)
    whole = np.ceil(np.where(seen, days, 0.0) - 1e-9).astype("timedelta64[D]")
    dates = (np.datetime64(on, "D") + whole).astype(object)
    return [day if known else None for day, known in zip(dates, seen, strict=True)]


def days_or_none(days: pd.Series) -> list[dt.date | None]:
    """
    Days of a frame's column as dates.

    Parameters
    ----------
    days : Series of datetime64
        Days, NaT where not known.

    Returns
    -------
    list of date or None
        None where not known.
    """
    as_days = days.to_numpy("datetime64[D]")
    return [
        None if unknown else day
        for day, unknown in zip(as_days.astype(object), np.isnat(as_days), strict=True)
    ]


def _or_none(values: Floats) -> list[float | None]:
    return [float(value) if known else None for value, known in zip(values, np.isfinite(values), strict=True)]
