"""When to look next: the latest day for the next reading of each brake, so that few pass their limit unread."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.flying import Flying
from lifecycle.forecast import days_or_none, with_flying
from lifecycle.installed import Installed

Floats = npt.NDArray[np.float64]

NAME: Final = "chance_past_limit_unread"
# Where nobody has entered one.
START_VALUE: Final = Assumption(
    NAME, 0.05, "1", "start value of this program (common practice, no source)", dt.date(2026, 11, 25)
)
# A brake that hardly flies is looked at once a year all the same (common practice, no source).
LONGEST_DAYS: Final = 365


@dataclass(frozen=True)
class NextLook:
    """
    The latest day for the next reading of one installed brake.

    ``landings`` are braked landings from the day forecast from until then; ``chance_now`` is that of having passed the
    limit unread already, ``level`` the one to stay under. ``aircraft_latest_on`` is the earliest of the brakes on its
    aircraft. ``why`` says what makes the day: ``at limit`` (due by a reading), ``copied`` (its last readings are copies
    of an earlier one: read it now), ``now`` (the level is passed already), ``wear``,
    ``once a year`` (wear alone would leave it longer) or ``no limit`` (none on record: no day).
    """

    serial: str
    brake_type: str
    registration: str
    position: str
    base: str
    pin_mm: float | None
    limit_mm: float | None
    read_on: dt.date | None
    level: float
    chance_now: float | None
    landings: float | None
    latest_on: dt.date | None
    aircraft_latest_on: dt.date | None
    why: str
    kind: str


def level_for(
    assumptions: AssumptionSet, *, aircraft_type: str = "", brake_type: str = "", base: str = ""
) -> Assumption:
    """
    The chance to stay under, as assumed for a scope.

    Parameters
    ----------
    assumptions : AssumptionSet
        Approved and known.
    aircraft_type, brake_type, base : str
        The scope.

    Returns
    -------
    Assumption
        `START_VALUE` where none was entered.
    """
    found = assumptions.find(NAME, aircraft_type=aircraft_type, brake_type=brake_type, base=base)
    return found or START_VALUE


def latest_looks(
    installed: Installed, flying: Flying, on: dt.date, level: npt.ArrayLike
) -> tuple[NextLook, ...]:
    """
    The latest day for the next reading of each brake.

    Parameters
    ----------
    installed : Installed
        n brakes.
    flying : Flying
        Landings to come, and how far such forecasts were off.
    on : date
        The day they were gathered for.
    level : float or array of shape (n,)
        Chance to stay under, above 0 and at most one half.

    Returns
    -------
    tuple of NextLook
        By the aircraft's latest day, then aircraft, then the brake's own; brakes without a limit last.

    Raises
    ------
    ValueError
        If a level is not above 0 and at most one half.

    Notes
    -----
    The chance is that of the wear path having reached the limit between the last reading and the next: F(n) of
    `lifecycle.life` from that reading, not given that the brake is still fitted, since nobody has looked. The day is
    the last whole one on which F stays at or under the level, the error of flying included as in
    `forecast.due_within`; the day itself where it is passed already or the last readings are
    copies, and at the longest a year ahead.
    """
    frame = installed.frame
    level = np.broadcast_to(np.asarray(level, dtype=float), (len(frame),))
    if np.any((level <= 0) | (level > 0.5)):
        raise ValueError(
            f"a chance to pass the limit unread must lie above 0 and at most at 0.5; found {level}"
        )
    known = np.isfinite(installed.law.remaining_mm)
    due = frame["due"].to_numpy(bool)
    landings, chance = np.full(len(frame), np.nan), np.full(len(frame), np.nan)
    landings[known], chance[known] = _within(installed, known, flying, level)
    landings[due], chance[due] = 0.0, 1.0
    copied = frame["copied"].to_numpy(bool)
    landings[copied & known] = 0.0
    days = np.full(len(frame), np.nan)
    days[known | due] = flying.days_to(frame["aircraft"].to_numpy()[known | due], landings[known | due])
    why = np.select(
        [due, ~known, copied, landings <= 0, days > LONGEST_DAYS],
        ["at limit", "no limit", "copied", "now", "once a year"],
        default="wear",
    )
    days = np.minimum(np.floor(days + 1e-9), LONGEST_DAYS)
    landings = np.minimum(
        landings, flying.expected_landings(frame["aircraft"].to_numpy(), np.nan_to_num(days))
    )
    return tuple(_rows(frame, on, _Found(level, chance, landings, days, why)))


def _within(
    installed: Installed, known: npt.NDArray[np.bool_], flying: Flying, level: Floats
) -> tuple[Floats, Floats]:
    """Landings from now by which the chance to have passed unread is the level, and that chance now."""
    law = installed.law.at(known)
    unread = replace(law, flown=np.zeros_like(law.flown))
    ahead = unread.landings(np.stack([level[known], np.full(law.flown.shape, 0.5)])) - law.flown
    looked_up = with_flying(np.maximum(ahead[0], 0.0), ahead[1], flying, level[known])
    return looked_up, unread.chance(law.flown)


@dataclass(frozen=True)
class _Found:
    level: Floats
    chance: Floats
    landings: Floats
    days: Floats
    why: npt.NDArray[np.str_]


def _rows(frame: pd.DataFrame, on: dt.date, found: _Found) -> Iterator[NextLook]:
    by_aircraft = pd.Series(found.days).groupby(frame["aircraft"].to_numpy()).transform("min").to_numpy(float)
    later = [np.nan_to_num(days, nan=np.inf) for days in (found.days, by_aircraft)]
    places = [frame[name].to_numpy(object) for name in ("position", "registration")]
    order = np.lexsort((places[0], later[0], places[1], later[1]))
    shown = frame.iloc[order]
    columns = (
        *(shown[name].tolist() for name in ("serial", "brake_type", "registration", "position", "base")),
        *(_or_none(shown[name].to_numpy(float)) for name in ("pin_mm", "limit_mm")),
        days_or_none(shown["read_on"]),
        found.level[order].tolist(),
        *(_or_none(each[order]) for each in (found.chance, found.landings)),
        *(_days_after(on, each[order]) for each in (found.days, by_aircraft)),
        found.why[order].tolist(),
        np.where(shown["due"], "observed", shown["kind"]).tolist(),
    )
    return (NextLook(*row) for row in zip(*columns, strict=True))


def _or_none(values: Floats) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]


def _days_after(on: dt.date, days: Floats) -> list[dt.date | None]:
    return [on + dt.timedelta(days=int(each)) if np.isfinite(each) else None for each in days]
