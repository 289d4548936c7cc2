"""What a planner must know beside a forecast: due or overdue, unread, projected, kept out of the rate, no date."""

import datetime as dt
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.flying import Flying
from lifecycle.installed import Installed

# Readings come every one to three weeks; four missed in a row are worth a word (common practice, no source).
UNREAD_DAYS: Final = 90
LATE_DAYS: Final = 3  # landings sheets of a weekend come on Monday
OUT: Final = {
    "hot": "taken hot",
    "released": "taken with the brakes released",
    "excluded": "taken during a known fault",
    "copied": "copied or unread",
}
Mask = npt.NDArray[np.bool_]


def cautions(
    installed: Installed, flying: Flying, days_p50: npt.NDArray[np.float64], on: dt.date
) -> list[tuple[str, ...]]:
    """
    Warnings of every installed brake, in plain words.

    Parameters
    ----------
    installed : Installed
        n brakes.
    flying : Flying
        Landings to come.
    days_p50 : array of shape (n,)
        Median days to the limit, infinite where no flying is expected.
    on : date
        The day forecast from.

    Returns
    -------
    list of tuple of str
        n entries: a limit that was reached, what the runs and the fit said, what the forecast adds; most are empty.
    """
    frame = installed.frame
    notes = [(*own, *fitted) for own, fitted in zip(frame["warnings"], frame["fit_warnings"], strict=True)]
    for place, text in _found(installed, flying, days_p50, on):
        notes[place] = (*notes[place], text)
    for place, row in _each(frame, frame["due"].to_numpy(bool)):
        how = f" ({row.due_because} reading)" if row.due_because else ""
        notes[place] = (f"at or below the wear limit: read on {_said(row.read_on)}{how}", *notes[place])
    return notes


def _found(
    installed: Installed, flying: Flying, days_p50: npt.NDArray[np.float64], on: dt.date
) -> Iterator[tuple[int, str]]:
    frame, law = installed.frame, installed.law
    due = frame["due"].to_numpy(bool)
    known = np.isfinite(law.remaining_mm)
    yield from _held_below_a_later_one(installed, flying, on)
    overdue = ~due & known
    overdue[overdue] = law.at(overdue).passed() >= 0.5
    for place, row in _each(frame, overdue):
        yield (
            place,
            f"likely past the limit already, after {row.flown:.0f} landings since it was read: read the pin",
        )
    yield from _unread(frame, on)
    yield from _last_out_of_the_rate(frame)
    late = (pd.Timestamp(on) - frame["records_through"]).dt.days.to_numpy() > LATE_DAYS
    for place, row in _each(frame, late & (frame["projected"].to_numpy() > 0)):
        through = _said(row.records_through)
        yield (
            place,
            f"landings on record through {through} only: {row.projected:.0f} more projected to {_said(on)}",
        )
    yield from _shorter_readings(installed, flying, on)
    for place, _ in _each(frame, known & ~due & np.isposinf(days_p50)):
        yield place, "no flying expected: landings to the limit, no date"


def _unread(frame: pd.DataFrame, on: dt.date) -> Iterator[tuple[int, str]]:
    """Brakes without a reading, or without one for long; a check "within limit" since is named."""
    unread = frame["read_on"].isna().to_numpy()
    for place, row in _each(frame, unread):
        told = "never read in this run: only what its type is like is known"
        if not pd.isna(row.checked_on):
            check = f"checked within the limit on {_said(row.checked_on)}"
            told = f"never read in this run, only {check}: beside that, only what its type is like is known"
        yield place, told
    since = (pd.Timestamp(on) - frame["seen_on"]).dt.days.to_numpy()
    for place, row in _each(frame, since > UNREAD_DAYS):
        later = row.checked_on > row.seen_on  # false where there is none
        check = f"; checked within the limit on {_said(row.checked_on)}" if later else ""
        yield place, f"not read since {_said(row.seen_on)}, {row.since_seen:.0f} landings ago{check}"


def _last_out_of_the_rate(frame: pd.DataFrame) -> Iterator[tuple[int, str]]:
    """The length shown is not what the landings left follow from: say on what they rest."""
    out = (frame["out_because"] != "").to_numpy() & ~frame["due"].to_numpy(bool)
    for place, row in _each(frame, out):
        why = OUT.get(row.out_because, row.out_because)
        rests = "what its type is like"
        if not pd.isna(row.used_on):
            rests = f"{row.used_mm:.1f} mm of {_said(row.used_on)}"
        yield place, f"{row.pin_mm:.1f} mm of {_said(row.read_on)} is {why}: the forecast rests on {rests}"


def _held_below_a_later_one(installed: Installed, flying: Flying, on: dt.date) -> Iterator[tuple[int, str]]:
    """A held low reading makes due now; what a later good one gives by the rate, and who ends it, stands beside."""
    frame = installed.frame
    asked = frame["later_on"].notna().to_numpy() & np.isfinite(installed.law.remaining_mm)
    landings = installed.law.at(asked).landings(np.array([[0.1], [0.9]]))
    days = flying.days_to(frame["aircraft"].to_numpy()[asked], landings)
    for (place, row), (soonest, latest) in zip(_each(frame, asked), days.T, strict=True):
        due = f"by it due {_between(on, soonest, latest)}"
        later = f"a later reading of {row.later_mm:.1f} mm on {_said(row.later_on)} is above the limit"
        yield place, f"{later}; {due}; rule on the held reading of {_said(row.read_on)}"


def _between(on: dt.date, soonest: float, latest: float) -> str:
    if not np.isfinite(soonest):
        return "without a date"
    first = _said(_after(on, soonest))
    return f"between {first} and {_said(_after(on, latest))}" if np.isfinite(latest) else f"from {first} on"


def _after(on: dt.date, days: float) -> dt.date:
    return on + dt.timedelta(days=float(np.ceil(days)))


def _shorter_readings(installed: Installed, flying: Flying, on: dt.date) -> Iterator[tuple[int, str]]:
    """Readings out of the rate that say less is left: the date they would give stands beside the forecast."""
    frame = installed.frame
    asked = frame["gated_on"].notna().to_numpy() & frame["limit_mm"].notna().to_numpy()
    asked &= (frame["rate_mm"].to_numpy() > 0) & ~frame["due"].to_numpy(bool)
    some = frame[asked]
    landings = (some["gated_mm"] - some["limit_mm"]) / some["rate_mm"] - some["gated_flown"]
    days = flying.days_to(some["aircraft"].to_numpy(), np.maximum(landings.to_numpy(), 0.0))
    for (place, row), ahead in zip(_each(frame, asked), days, strict=True):
        when = f"by {_said(_after(on, ahead))}" if np.isfinite(ahead) else "without a date"
        why = row.gated_why or "unexplained"
        yield (
            place,
            f"{row.gated_mm:.1f} mm read on {_said(row.gated_on)}, {why}, is out of the rate: by it due {when}",
        )


def _each(frame: pd.DataFrame, chosen: Mask) -> Iterator[tuple[int, Any]]:
    return zip(np.flatnonzero(chosen).tolist(), frame[chosen].itertuples(index=False), strict=True)


def _said(day: dt.date) -> str:
    return f"{day.day} {day:%b %Y}"
