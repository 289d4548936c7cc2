"""What is odd about a brake in a position, flagged: outside effectivity, or mixed where that is not allowed."""

from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.base import table_of
from db.entry.outcome import Flag
from db.fleet_on import brake_types_of, positions, types_of_aircraft, variants_on
from db.frames import frame_of, records
from db.lookup import among, brake_type_ids, current
from db.records.brakes import Occupancy
from db.records.fleet import Effectivity

# Where several entries apply, the strictest counts: a flag asks somebody to look and refuses nothing.
STRICT_FIRST: Final = ("none", "same group", "any")


def fit_flags(session: Session, installed: pd.DataFrame) -> list[Flag]:
    """
    Flags on installations just written (row, brake, aircraft, position, installed_on).

    An aircraft type without any effectivity on record is not judged.
    """
    types = set(types_of_aircraft(session, installed["aircraft"].tolist()).values())
    entries = frame_of(session, current(Effectivity).where(among(Effectivity.aircraft_type, types)))
    if entries.empty or installed.empty:
        return []
    placed = installed.rename(columns={"installed_on": "day"})
    placed = _judged(session, placed[["row", "brake", "aircraft", "position", "day"]], entries)
    beside = _judged(session, _beside(session, placed), entries)
    names = {number: name for name, number in brake_type_ids(session).items()}
    outside = placed[placed["rule"] == ""]
    outside_flags = [
        Flag(row, f"brake type {names[kind]} is outside the effectivity on record for position {position}")
        for row, kind, position in outside[["row", "brake_type", "position"]].to_numpy()
    ]
    return outside_flags + _mixes(placed, beside, names)


def effective_there(session: Session, placed: pd.DataFrame) -> list[bool]:
    """
    Say of each brake whether it may be in a position by the effectivity on record (brake, aircraft, position, day).

    An aircraft type without any effectivity on record is not judged: then it may.
    """
    types = set(types_of_aircraft(session, placed["aircraft"].tolist()).values())
    entries = frame_of(session, current(Effectivity).where(among(Effectivity.aircraft_type, types)))
    return [rule != "" for rule in _judged(session, placed, entries)["rule"]]


def _judged(session: Session, placed: pd.DataFrame, entries: pd.DataFrame) -> pd.DataFrame:
    """Add brake_type, aircraft_type, group and rule: how it may be mixed, "" outside effectivity, "any" not judged."""
    placed = placed.reset_index(drop=True)
    placed["brake_type"] = placed["brake"].map(brake_types_of(session, placed["brake"].tolist()))
    placed["aircraft_type"] = placed["aircraft"].map(types_of_aircraft(session, placed["aircraft"].tolist()))
    placed["weight_variant"] = variants_on(session, placed["aircraft"], placed["day"])
    placed = placed.merge(positions(session), on=["aircraft_type", "position"], how="left")
    entries = entries.assign(strict=entries["mix"].map({word: i for i, word in enumerate(STRICT_FIRST)}))
    both = placed.reset_index().merge(entries, on=["aircraft_type", "brake_type"], suffixes=("", "_allowed"))
    strictest = both[_applies(both)].groupby("index")["strict"].min()
    rule = pd.Series(placed.index).map(strictest).map(dict(enumerate(STRICT_FIRST)))
    judged = placed["aircraft_type"].isin(entries["aircraft_type"])
    return placed.assign(rule=rule.where(judged, "any").fillna(""))


def _applies(both: pd.DataFrame) -> "pd.Series[bool]":
    """Entries whose scope covers the row; a blank scope covers all, `to` is the first day outside."""
    return (
        (both["aircraft_allowed"].isna() | (both["aircraft_allowed"] == both["aircraft"]))
        & _blank_or_same(both, "weight_variant", "weight_variant_allowed")
        & _blank_or_same(both, "position_group", "position_group_allowed")
        & (both["from_on"].isna() | (both["from_on"] <= both["day"]))
        & (both["to_on"].isna() | (both["day"] < both["to_on"]))
    )


def _blank_or_same(both: pd.DataFrame, has: str, allowed: str) -> "pd.Series[bool]":
    return (both[allowed] == "") | (both[allowed] == both[has])


def _beside(session: Session, placed: pd.DataFrame) -> pd.DataFrame:
    """Who else is on the aircraft at the end of the day, one line for each other position that is filled."""
    there = placed.merge(positions(session).rename(columns={"position": "other"}), on="aircraft_type")
    there = there.loc[there["other"] != there["position"], ["row", "aircraft", "other", "day"]]
    there = there.rename(columns={"other": "position"}).sort_values("day")
    which = among(Occupancy.aircraft, placed["aircraft"].tolist())
    spans = frame_of(session, select(table_of(Occupancy)).where(which)).sort_values("from_on")
    found = pd.merge_asof(there, spans, left_on="day", right_on="from_on", by=["aircraft", "position"])
    present = found["brake"].notna() & (found["to_on"].isna() | (found["day"] < found["to_on"]))
    return found[present].astype({"brake": np.int64})[["row", "brake", "aircraft", "position", "day"]]


def _mixes(placed: pd.DataFrame, beside: pd.DataFrame, names: dict[Any, str]) -> list[Flag]:
    both = placed.merge(beside, on="row", suffixes=("", "_other"))
    both = both[both["brake_type"] != both["brake_type_other"]]
    none = (both["rule"] == "none") | (both["rule_other"] == "none")
    grouped = (both["rule"] == "same group") | (both["rule_other"] == "same group")
    breach = both[none | (grouped & (both["position_group"] == both["position_group_other"]))]
    return [_mixed(records(rows), names) for _, rows in breach.groupby("row")]


def _mixed(breach: list[dict[str, Any]], names: dict[Any, str]) -> Flag:
    others = ", ".join(sorted({names[other["brake_type_other"]] for other in breach}))
    there = ", ".join(sorted(other["position_other"] for other in breach))
    one = breach[0]
    text = f"brake type {names[one['brake_type']]} is mixed with {others} in position {there}, "
    return Flag(one["row"], text + "which the effectivity on record does not allow")
