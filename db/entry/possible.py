"""What cannot be, refused row by row: ends before beginnings, days ahead, no such position, two in one place."""

import datetime as dt
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from db.conflicts import SAME_FIRST, conflict
from db.entry.named import Named
from db.entry.where import IN_ONE_POSITION, IN_TWO_PLACES, STILL, clashes, spans_on_record, told
from db.fleet_on import positions, types_of_aircraft
from db.frames import frame_of, records
from db.lookup import among, current
from db.records.brakes import ShopVisit

AHEAD: Final = dt.timedelta(hours=14)  # somewhere on earth the day has begun that long before UTC's
SPAN: Final = ["brake", "aircraft", "position", "from_on", "to_on", "row"]


def refuse_days_ahead(named: Named, *columns: str) -> None:
    """Refuse days that have not begun anywhere."""
    latest = pd.Timestamp((dt.datetime.now(dt.UTC) + AHEAD).date())
    for column in columns:
        ahead = named.rows[column].to_numpy() > latest.to_datetime64()
        named.refuse(column, ahead, "lies in the future", "correct the day; what is planned is not a record")


def refuse_unended(named: Named) -> None:
    """Refuse removals before their installation, and removals without their day."""
    rows = named.rows
    backwards = (rows["removed_on"] < rows["installed_on"]).to_numpy()
    began = dict(zip(rows["row"], rows["installed_on"], strict=True))
    named.refuse(
        "removed_on",
        backwards,
        lambda row, _: f"lies before the installation on {began[row].date()}",
        "correct one of the days",
    )
    for column, given in (
        ("removal_reason", rows["removal_reason"] != ""),
        ("aircraft_landings_off", rows["aircraft_landings_off"].notna()),
    ):
        bare = (given & rows["removed_on"].isna()).to_numpy()
        named.refuse(column, bare, "belongs to a removal, which has no day", "fill in removed_on")


def refuse_no_position(named: Named, new: pd.DataFrame) -> None:
    """Refuse positions that the aircraft's type does not have."""
    kind = new["aircraft"].map(types_of_aircraft(named.session, new["aircraft"].tolist()))
    has = positions(named.session)
    known = pd.MultiIndex.from_frame(has[["aircraft_type", "position"]])
    bad = ~pd.MultiIndex.from_arrays([kind, new["position"]]).isin(known)
    of_type = has.groupby("aircraft_type")["position"].agg(", ".join)
    advice = dict(zip(new["row"], kind.map(of_type), strict=True))
    refuse_rows(
        named,
        "position",
        dict.fromkeys(new.loc[bad, "row"], "this aircraft's type has no such position"),
        lambda row, _: f"write one of {advice[row]}",
    )


def refuse_clashes(named: Named, new: pd.DataFrame, *, closed: pd.DataFrame) -> None:
    """
    Refuse two brakes in one position and a brake in two places; `closed` are spans that these rows end.

    A new installation that is there already was entered by somebody since its key was looked for: advice on where the
    brake is would mislead who enters the same.
    """
    spans = spans_on_record(named.session, new["brake"].tolist(), new["aircraft"].tolist())
    if "fact" in new:  # corrected ones stand no longer where they stood
        spans = spans[~spans["installation"].isin(new["fact"])].reset_index(drop=True)
    ends = closed.set_index("fact")["removed_on"]
    ended = ends.reindex(spans["installation"]).set_axis(spans.index)
    spans["to_on"] = ended.where(ended.notna(), spans["to_on"])
    come = new.rename(columns={"installed_on": "from_on", "removed_on": "to_on"})
    if not named.errors and not come.merge(spans, on=["brake", "from_on"]).empty:
        raise conflict(SAME_FIRST)
    come = come[~(come["to_on"] < come["from_on"])]
    spans = pd.concat([spans[SPAN], come[SPAN]], ignore_index=True)
    for by, column, advice in (
        (IN_TWO_PLACES, "serial", "enter its removal there first, or correct the serial or the day"),
        (IN_ONE_POSITION, "position", "enter that one's removal first, or correct the position or the day"),
    ):
        found = clashes(spans, by)
        if found:
            refuse_rows(named, column, told(named.session, spans, found), advice)


def refuse_in_the_shop(named: Named, new: pd.DataFrame) -> None:
    """Refuse installations of a brake that is at a shop meanwhile."""
    which = among(ShopVisit.brake, new["brake"].tolist())
    visits = frame_of(named.session, current(ShopVisit).where(which))[["brake", "sent_on", "back_on", "work"]]
    both = new.merge(visits, on="brake")
    sent_before = both["sent_on"] < both["removed_on"].fillna(STILL)
    away = both[sent_before & (both["installed_on"] < both["back_on"].fillna(STILL))]
    found = {row["row"]: _at_the_shop(row) for row in records(away)}
    refuse_rows(named, "serial", found, "enter its return from the shop first, or correct the day")


def _at_the_shop(visit: dict[str, Any]) -> str:
    until = "and is not back" if pd.isna(visit["back_on"]) else f"until {visit['back_on'].date()}"
    return f"this brake is at the shop ({visit['work']}) from {visit['sent_on'].date()} {until}"


def refuse_rows(named: Named, column: str, rules: Mapping[int, str], suggestion: Any) -> None:  # noqa: ANN401 - as Named
    """Refuse the rows that have a rule, each with its own."""
    if not rules:
        return
    bad = named.rows["row"].isin(list(rules)).to_numpy()
    named.refuse(column, bad, lambda row, _: rules[row], suggestion)
