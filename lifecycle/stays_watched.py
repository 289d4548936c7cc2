"""Every stay of a brake on an aircraft as a life that was watched from one age to another, and what ended it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.days import FAR, day_number, day_numbers
from lifecycle.exposure import Runs
from lifecycle.landings import codes_of, fly_days
from lifecycle.observations import Records
from lifecycle.runs import FRESH
from lifecycle.starts import LOG_GAP_DAYS
from lifecycle.wear import FleetFit

Floats = npt.NDArray[np.float64]

SOONEST: Final = 0.5  # a brake that came off before its first landing is taken to have made half of one
NOT_RECORDED: Final = "not recorded"


@dataclass(frozen=True)
class Watched:
    """
    Stays of brakes on aircraft, n of them.

    Attributes
    ----------
    brake_type, reason : array of str, shape (n,)
        Why it came off, ``not recorded`` where nobody wrote it down, "" while it lasts.
    entered, left : array of shape (n,)
        Braked landings since the heat sink was new or overhauled, when it came under watch and when that ended; NaN
        where that age is not known.
    landings : array of shape (n,)
        Braked landings under watch.
    """

    brake_type: npt.NDArray[np.str_]
    reason: npt.NDArray[np.str_]
    entered: Floats
    left: Floats
    landings: Floats

    @property
    def aged(self) -> npt.NDArray[np.bool_]:
        """Whose age is known, or told by their wear."""
        return np.asarray(np.isfinite(self.entered) & np.isfinite(self.left))


def watched_stays(runs: Runs, fit: FleetFit, records: Records) -> Watched:
    """
    Stays of all brakes with the ages between which each was watched.

    Parameters
    ----------
    runs : Runs
        Heat sink runs with their installations.
    fit : FleetFit
        Tells the age of a heat sink whose start is not known, by its wear.
    records : Records
        Removal reasons, and since when each aircraft has a log.

    Returns
    -------
    Watched
        One entry an installation.

    Notes
    -----
    A brake on an aircraft when its log begins is watched from then on only: had it come off before, it would not be
    on record (left truncation). So is one that comes back within its run. Where nobody knows how long a heat sink had
    run before, its age is taken as its wear over its own rate.
    """
    spans = runs.spans
    of_run = runs.runs.loc[spans["run"]]
    installed = records.installations.set_index("record").loc[spans["record"]]
    before = np.maximum(spans["landings_from"].to_numpy(dtype=float), 0.0)  # sums leave a trace below 0
    until = spans["landings_to"].to_numpy(dtype=float)
    logged = _logged(records, spans)
    entered = np.maximum(before, until - logged)
    offset = _worn_before(of_run, fit, told=_told(spans, installed, records))
    gone = spans["to_on"].notna().to_numpy()
    reason = np.where(installed["removal_reason"].to_numpy() != "", installed["removal_reason"], NOT_RECORDED)
    return Watched(
        brake_type=of_run["brake_type"].to_numpy(dtype=str),
        reason=np.where(gone, reason, "").astype(str),
        entered=entered + offset,
        left=np.maximum(until + offset, SOONEST),
        landings=until - entered,
    )


def ages_now(frame: pd.DataFrame, runs: Runs, fit: FleetFit, records: Records) -> Floats:
    """
    Age of the heat sinks fitted now.

    Parameters
    ----------
    frame : DataFrame of n rows
        Rows of `Installed.frame`, index into `Runs.runs`.
    runs, fit, records : Runs, FleetFit, Records
        As in `watched_stays`.

    Returns
    -------
    array of shape (n,)
        Braked landings since new or overhaul, those not on record yet included; those in the run alone where nothing
        tells what was before.
    """
    spans = runs.spans[runs.spans["run"].isin(frame.index)]
    installed = records.installations.set_index("record").loc[spans["record"]]
    told = pd.Series(_told(spans, installed, records), index=spans["run"].to_numpy()).groupby(level=0).first()
    before = _worn_before(frame, fit, told=told.reindex(frame.index).to_numpy(dtype=bool))
    return np.asarray(np.nan_to_num(before) + (frame["landings"] + frame["projected"]).to_numpy(dtype=float))


def _logged(records: Records, spans: pd.DataFrame) -> Floats:
    """Braked landings of each stay that lie in its aircraft's log; infinite where all do."""
    logged = np.full(len(spans), np.inf)
    early = (_waited(records, spans) > 0) & (spans["landings_to"] > spans["landings_from"]).to_numpy()
    if not early.any():
        return logged
    some, last = spans[early], records.landings["day"].max().date()
    flown = fly_days(records, last)
    code = codes_of(flown.aircraft, some["aircraft"], "aircraft in installations")
    end = np.minimum(day_numbers(some["to_on"]), day_number(last))
    logged[early] = flown.braked_through(code, end) - flown.braked_through(code, np.zeros_like(end))
    return logged


def _waited(records: Records, spans: pd.DataFrame) -> npt.NDArray[np.int64]:
    """Days from each installation to the first day of its aircraft's log; below 0 where the log began before."""
    first = records.landings.groupby("aircraft")["day"].min().reindex(spans["aircraft"])
    return np.where(first.isna(), FAR, day_numbers(first) - day_numbers(spans["from_on"]))


def _told(spans: pd.DataFrame, installed: pd.DataFrame, records: Records) -> npt.NDArray[np.bool_]:
    """Stays of runs that began fresh under the log: their landings are their age whether the pin was known or not."""
    fresh = installed["starts_as"].isin(FRESH).to_numpy() & (_waited(records, spans) <= LOG_GAP_DAYS)
    began = pd.Series(fresh, index=spans["run"].to_numpy()).groupby(level=0).first()
    return began.reindex(spans["run"]).to_numpy(dtype=bool)


def _worn_before(of_run: pd.DataFrame, fit: FleetFit, *, told: npt.NDArray[np.bool_]) -> Floats:
    """Landings of each run before those counted: 0 where it began on record, else its wear over its rate."""
    post = fit.posterior.loc[of_run.index]
    by_wear = (post["wear_mm"] / post["rate_mm"] - post["landings_at"]).to_numpy(dtype=float)
    seen = (
        (post["rate_mm"].to_numpy() > 0)
        & (of_run["start_mm"].to_numpy() > 0)
        & (post["readings"].to_numpy() > 0)
    )
    unknown = np.where(seen, np.maximum(by_wear, 0.0), np.nan)
    return np.where(of_run["known_start"].to_numpy(dtype=bool) | told, 0.0, unknown)
