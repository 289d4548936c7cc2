"""Brakes on aircraft that the effectivity on record does not let carry them, said with the run."""

import datetime as dt
from dataclasses import replace

import pandas as pd

from lifecycle.exposure import Runs
from lifecycle.observations import Records

SCOPE = ["aircraft", "aircraft_type", "weight_variant", "position_group", "brake_type"]


def note_effectivity(runs: Runs, records: Records, on: dt.date) -> Runs:
    """
    Add a warning to every fitted brake that is outside effectivity on a day.

    Parameters
    ----------
    runs : Runs
        Heat sink runs as known on the day.
    records : Records
        Needs effectivity.
    on : date
        The day.

    Returns
    -------
    Runs
        The same but for ``runs.warnings``.

    Notes
    -----
    An entry holds from its first day up to the day before ``to_on``; a scope left blank covers all. An aircraft type
    without any entry on record is not judged.
    """
    fitted = runs.runs[runs.runs["fitted"]]
    judged = fitted[fitted["aircraft_type"].isin(records.effectivity["aircraft_type"])]
    outside = judged.drop(index=_listed(judged, records.effectivity, pd.Timestamp(on)))
    said = dict(zip(outside.index, map(_said, outside["brake_type"], outside["position_group"]), strict=True))
    told = [
        (*notes, said[place]) if place in said else notes for place, notes in runs.runs["warnings"].items()
    ]
    warnings = pd.Series(told, index=runs.runs.index, dtype=object)
    return replace(runs, runs=runs.runs.assign(warnings=warnings))


def _said(brake_type: str, group: str) -> str:
    where = f"position group {group}" if group else "its position"
    return f"outside effectivity: {brake_type} is not listed for {where} of this aircraft"


def _listed(fitted: pd.DataFrame, effectivity: pd.DataFrame, day: pd.Timestamp) -> list[int]:
    """Runs that some entry in force covers."""
    in_force = effectivity[~(effectivity["from_on"] > day) & ~(effectivity["to_on"] <= day)]
    both = (
        fitted[SCOPE].reset_index().merge(in_force, on=["aircraft_type", "brake_type"], suffixes=("", "_of"))
    )
    covered = both["aircraft_of"].isna() | (both["aircraft_of"] == both["aircraft"])
    for scope in ("weight_variant", "position_group"):
        covered &= (both[f"{scope}_of"] == "") | (both[f"{scope}_of"] == both[scope])
    return sorted({int(place) for place in both.loc[covered, "index"]})
