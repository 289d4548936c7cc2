"""Latest days for a reading as they were shown and kept: how often the limit had been passed unread by then."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.came import RUN, passages, readings_in_the_rate
from lifecycle.score import wilson
from lifecycle.study import Study


@dataclass(frozen=True)
class IssuedLook:
    """The latest day for the next reading of one brake as it was shown on a day, and the chance to stay under."""

    shown_on: dt.date
    serial: str
    brake_type: str
    level: float
    latest_on: dt.date


@dataclass(frozen=True)
class LooksScore:
    """
    Latest days for a reading that lie in the past, one for each brake and reading that they counted from.

    ``days`` of which it is known what came by then, in ``passed`` of them the limit, before anybody had read it since;
    ``level`` is the mean chance that was to be stayed under, ``share_low`` and ``share_high`` the 80 % interval of the
    share. ``open`` are those of which it cannot be told yet: nobody has read the brake since.
    """

    days: int
    passed: int
    level: float | None = None
    share_low: float | None = None
    share_high: float | None = None
    open: int = 0


NO_LOOKS: Final = LooksScore(0, 0)
NONE: Final = np.zeros(0, dtype="datetime64[s]")


def score_issued_looks(study: Study, issued: Iterable[IssuedLook]) -> LooksScore:
    """
    Score the latest days for a reading as they were shown.

    Parameters
    ----------
    study : Study
        What is known now.
    issued : iterable of IssuedLook
        Days as shown; of those of one brake that count from the same reading the last counts.

    Returns
    -------
    LooksScore
        Of days after the one they were shown on, and not after the study's.

    Notes
    -----
    The limit counts as passed by the latest day where `came.passages` dates it no later; as not passed where it dates
    it later, a reading in the rate on that day or later shows none, or the brake came off as worn before its limit. The
    chance shown is that of the wear path from the last reading on, so that a reading taken in time changes nothing: it
    only shows what the path has done.
    """
    book = _Book(study)
    over = {
        place: each
        for each in sorted(issued, key=lambda each: each.shown_on)
        if each.shown_on < each.latest_on <= study.on and (place := book.place(each))
    }
    told = {place: book.passed(place[0], each.latest_on) for place, each in over.items()}
    known = [place for place, passed in told.items() if passed is not None]
    if not known:
        return LooksScore(0, 0, open=len(over))
    passed = sum(bool(told[place]) for place in known)
    low, high = wilson(passed, len(known))
    level = float(np.mean([over[place].level for place in known]))
    return LooksScore(len(known), passed, level, low, high, open=len(over) - len(known))


class _Book:
    """Runs by serial and type, the days of their readings in the rate, and the day on which each reached its limit."""

    def __init__(self, study: Study) -> None:
        runs = study.runs.runs
        self.of_brake = dict(iter(runs.groupby(["serial", "brake_type"])[["started_on", "ended_on"]]))
        keys = pd.MultiIndex.from_frame(runs[["brake", "run"]].set_axis(RUN, axis="columns"))
        came = passages(study.runs, study.fit).reindex(keys)
        # What came off as worn before its limit is carried on to it there; it never had passed it.
        self.spared = dict(zip(runs.index, came["passed_at"] > came["until"], strict=True))
        self.passed_on = dict(zip(runs.index, came["passed_on"], strict=True))
        read = readings_in_the_rate(study.runs, study.fit)
        self.read_on = {run: days.to_numpy() for run, days in read.groupby("run")["day"]}

    def place(self, look: IssuedLook) -> tuple[int, int] | None:
        """Return the run of the day shown and how many readings it had by then; None where there was none."""
        runs, day = self.of_brake.get((look.serial, look.brake_type)), pd.Timestamp(look.shown_on)
        if runs is None:
            return None
        then = runs[(runs["started_on"] <= day) & ~(runs["ended_on"] <= day)]
        if then.empty:
            return None
        run = int(then.index[-1])
        return run, int(np.count_nonzero(self.read_on.get(run, NONE) <= day.to_numpy()))

    def passed(self, run: int, latest_on: dt.date) -> bool | None:
        """Whether the run had reached its limit by a day; None where nobody has read it since."""
        day = pd.Timestamp(latest_on)
        if self.spared[run]:
            return False
        if not pd.isna(self.passed_on[run]):
            return bool(self.passed_on[run] <= day)
        return False if (self.read_on.get(run, NONE) >= day.to_numpy()).any() else None
