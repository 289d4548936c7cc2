"""Running totals of landings: which counter they were read from, that they never fall, that they match the days."""

from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from db.entry.named import Named
from db.entry.outcome import Flag
from db.entry.possible import refuse_rows
from db.frames import frame_of, records
from db.lookup import among, current
from db.records.readings import CounterChange

COUNTER: Final = ["aircraft", "counter"]


def with_counters(session: Session, landings: pd.DataFrame) -> pd.DataFrame:
    """Add to each row the counter that its total was read from, and the total at which that counter began."""
    wanted = among(CounterChange.aircraft, landings["aircraft"])
    columns = (CounterChange.aircraft, CounterChange.day, CounterChange.counter, CounterChange.starts_at)
    changes = frame_of(session, current(CounterChange).where(wanted).with_only_columns(*columns))
    if changes.empty:
        return landings.assign(counter=np.int64(1), starts_at=np.nan)
    placed = landings.drop(columns=["counter", "starts_at"], errors="ignore").reset_index()
    found = pd.merge_asof(placed.sort_values("day"), changes.sort_values("day"), on="day", by="aircraft")
    return found.set_index("index").fillna({"counter": 1}).astype({"counter": "int64"}).loc[landings.index]


def refuse_falling_totals(named: Named, landings: pd.DataFrame) -> None:
    """Refuse totals outside their neighbours; `landings` are those on record (row 0) and the new ones."""
    if not _brings_totals(landings):
        return
    totals = landings[landings["total_landings"].notna()].sort_values([*COUNTER, "day"])
    groups = totals.groupby(COUNTER)
    totals = totals.assign(
        **{f"{name}_before": groups[name].shift() for name in ("total_landings", "day")},
        **{f"{name}_after": groups[name].shift(-1) for name in ("total_landings", "day")},
    )
    total = totals["total_landings"]
    falls = (total < totals["total_landings_before"]) | (total > totals["total_landings_after"])
    falls |= total < totals["starts_at"]
    found = {row["row"]: _outside(row) for row in records(totals[falls & (totals["row"] > 0)])}
    advice = "correct the total; if the counter was replaced, enter the counter change first"
    refuse_rows(named, "total_landings", found, advice)


def _brings_totals(landings: pd.DataFrame) -> bool:
    """Whether a new row has a total; a day's count alone makes no total fall or disagree."""
    totals, rows = landings["total_landings"].to_numpy(), landings["row"].to_numpy()
    return bool((~np.isnan(totals[rows > 0])).any())


def _outside(row: dict[str, Any]) -> str:
    before = _neighbour(row["total_landings_before"], row["day_before"], "nothing before")
    after = _neighbour(row["total_landings_after"], row["day_after"], "nothing after")
    start = "" if pd.isna(row["starts_at"]) else f", and the counter began at {row['starts_at']:.0f}"
    return f"a running total never falls; on record are {before} and {after}{start}"


def _neighbour(total: float, day: pd.Timestamp, nothing: str) -> str:
    return nothing if pd.isna(total) else f"{total:.0f} on {day.date()}"


def disagreements(landings: pd.DataFrame) -> list[Flag]:
    """Flag new totals that rose by more or less than the landings written down for the days since the last total."""
    if not _brings_totals(landings):
        return []
    ordered = landings.sort_values([*COUNTER, "day"]).reset_index(drop=True)
    counted = ordered["full_stops"] + ordered["touch_and_gos"].fillna(0)
    by_counter = ordered.groupby(COUNTER, sort=False).ngroup()
    told = ordered.assign(
        counter_group=by_counter,
        counts=counted.fillna(0).groupby(by_counter).cumsum(),
        unknown=counted.isna().groupby(by_counter).cumsum(),
    )
    told = told[told["total_landings"].notna()]
    since = told.groupby("counter_group")[["total_landings", "counts", "unknown", "day"]].shift()
    rise = told["total_landings"] - since["total_landings"]
    count = told["counts"] - since["counts"]
    odd = (told["row"] > 0) & (told["unknown"] == since["unknown"]) & rise.notna() & (rise != count)
    lines = pd.DataFrame({"row": told["row"], "rise": rise, "count": count, "day": since["day"]})[odd]
    return [
        Flag(
            int(line["row"]),
            f"the total rose by {line['rise']:.0f} since {line['day'].date()}, "
            f"the days written down have {line['count']:.0f} landings",
        )
        for line in records(lines)
    ]
