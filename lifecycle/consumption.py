"""What each stretch of flying used up: braked landings, wear in mm, and the share of a heat sink run."""

import datetime as dt
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.exposure import Runs
from lifecycle.observations import Records
from lifecycle.wear import FleetFit

BY_THE_HOUR: Final = "by the hour"

# Removals that somebody planned; the rest (leaks, overheats, damage, robbed...) came unasked and cost a change-out.
PLANNED: Final = (
    "",
    "worn",
    "opportunity",
    "modification",
    "service bulletin",
    "storage expired",
    "lease return",
)
REPAIR_WORK: Final = ("repair", "test", "no fault found")
DAYS_PER_YEAR: Final = 365.25


def consumption(runs: Runs, fit: FleetFit, records: Records, *, on: dt.date) -> pd.DataFrame:
    """
    Landings and wear of every installation, accrued through one day.

    Parameters
    ----------
    runs : Runs
        Runs and their installations (spans).
    fit : FleetFit
        Posterior wear rate of each run.
    records : Records
        Needs brakes, installations and brake_types.
    on : date
        The day through which `runs` counts.

    Returns
    -------
    DataFrame
        One row an installation with landings: ``run``, ``brake_type``, ``aircraft``, ``aircraft_type``, ``base``,
        ``position_group``, ``weight_variant``, ``landings`` (braked), ``wear_mm``, ``usable_mm`` (start to limit;
        NaN where no run of the type has a limit), ``runs_used`` (share of a run worn off), ``by_the_hour``,
        ``days`` (installed), ``unscheduled`` (1 if it ended in a removal that nobody planned).

    Notes
    -----
    A run whose start is known has worn what its last reading says, and since then its posterior rate times landings;
    any other run its rate times landings. A brake with few readings so counts at what is known of its type, and a
    young type carries its share of an overhaul although none has been paid yet.
    """
    spans = runs.spans.reset_index(drop=True)
    run = runs.runs.loc[spans["run"]].reset_index(drop=True)
    landings = (spans["landings_to"] - spans["landings_from"]).to_numpy(dtype=np.float64)
    rate = _worn_per_landing(runs, fit).reindex(spans["run"]).to_numpy(dtype=np.float64)
    reasons = records.installations.set_index("record")["removal_reason"].reindex(spans["record"]).fillna("")
    until = spans["to_on"].fillna(pd.Timestamp(on))
    arrangement = records.brakes.set_index("brake")["arrangement"].reindex(run["brake"]).to_numpy()
    frame = pd.DataFrame(
        {
            "run": spans["run"],
            "brake_type": run["brake_type"],
            "aircraft": spans["aircraft"],
            "aircraft_type": spans["aircraft_type"],
            "base": spans["base"],
            "position_group": spans["position_group"],
            "weight_variant": run["weight_variant"],
            "landings": landings,
            "wear_mm": rate * landings,
            "usable_mm": _usable_mm(runs).reindex(spans["run"]).to_numpy(dtype=np.float64),
            "by_the_hour": arrangement == BY_THE_HOUR,
            "days": (until - spans["from_on"]).dt.days.to_numpy(dtype=np.float64),
            "unscheduled": np.where(reasons.isin(PLANNED).to_numpy() | spans["to_on"].isna(), 0.0, 1.0),
        }
    )
    frame["runs_used"] = frame["wear_mm"] / frame["usable_mm"]
    return frame[frame["landings"] > 0].reset_index(drop=True)


def _worn_per_landing(runs: Runs, fit: FleetFit) -> pd.Series:
    """Millimetres per braked landing of each run so far."""
    landings = runs.runs["landings"]
    since = (landings - fit.posterior["landings_at"]).clip(lower=0.0)
    worn = (fit.posterior["wear_mm"] + fit.posterior["rate_mm"] * since) / landings.where(landings > 0)
    read = runs.runs["known_start"] & (fit.posterior["landings_at"] > 0) & worn.notna()
    return worn.where(read, fit.posterior["rate_mm"]).clip(lower=0.0)


def _usable_mm(runs: Runs) -> pd.Series:
    """Wear from the start of each run to its limit; the type's median where start or limit is not known."""
    usable = runs.runs["start_mm"] - runs.runs["limit_mm"]
    known = usable.where(usable > 0)
    return known.fillna(known.groupby(runs.runs["brake_type"]).transform("median"))


def flight_hours_per_landing(records: Records) -> dict[str, float]:
    """
    Mean flight hours per landing of each aircraft type.

    Parameters
    ----------
    records : Records
        Needs aircraft and landings.

    Returns
    -------
    dict of str to float
        By aircraft type: hours over full stops of the rows that report both; types without any are left out.
    """
    told = records.landings.dropna(subset=["flight_hours", "full_stops"])
    kind = records.aircraft.set_index("aircraft")["aircraft_type"].reindex(told["aircraft"]).to_numpy()
    sums = told[["flight_hours", "full_stops"]].groupby(kind).sum()
    flown = sums[sums["full_stops"] > 0]
    return {str(name): float(hours) for name, hours in (flown["flight_hours"] / flown["full_stops"]).items()}
