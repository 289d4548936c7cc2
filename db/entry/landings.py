"""Landings by day or period, and changes of the counter that running totals are read from."""

import datetime as dt
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from db.chain import Act, append
from db.entry.keyed import Resolved, other_facts, sort_by_key
from db.entry.named import Named
from db.entry.outcome import Outcome
from db.entry.possible import refuse_days_ahead, refuse_rows
from db.entry.totals import disagreements, refuse_falling_totals, with_counters
from db.entry.undone import brought_back
from db.entry.where import clashes
from db.files import FILES
from db.frames import frame_of, records
from db.lookup import among, current
from db.records.readings import CounterChange, Landing

ONE_DAY: Final = pd.Timedelta(days=1)
NEAR: Final = dt.timedelta(days=60)


def record_landings(
    session: Session, act: Act, rows: pd.DataFrame, *, progress: Callable[[int], None] | None = None
) -> Outcome:
    """Record landings; totals that would fall and periods that overlap are refused, naming what is on record."""
    named = Named(session, FILES["landings"], rows)
    refuse_days_ahead(named, "day", "to_day")
    table = pd.DataFrame({field: rows[column] for field, column in named.file.fields.items()})
    table = table.assign(aircraft=named.aircraft(rows["day"]), base=named.bases(), row=rows["row"])
    table = table.assign(known_on=rows["recorded_on"], **named.next_version())
    table = table.dropna(subset=["aircraft"]).astype({"aircraft": "int64"})
    if table.empty:
        named.refuse_if_any()
        return Outcome()
    known, nearest = _on_record(session, table)
    table = brought_back(session, table, ["aircraft", "day"], known)
    by_key = sort_by_key(Resolved(named.file, rows.loc[table.index], table, named.file.fields), known)
    named.errors += by_key.errors
    new = with_counters(session, by_key.new)
    together = pd.concat([known[~known["withdrawn"]], nearest, new], ignore_index=True).fillna({"row": 0})
    refuse_falling_totals(named, together)
    _refuse_overlaps(named, together[["row", "aircraft", "day", "to_day"]])
    named.refuse_if_any()
    append(session, act, [(Landing, new.drop(columns=["row", "starts_at"]))], progress=progress)
    return Outcome(added=len(new), same=by_key.same, flags=tuple(disagreements(together)))


def record_counter_changes(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Record that an aircraft's landings counter was replaced; totals from that day on count anew from its start."""
    named = Named(session, FILES["counter_changes"], rows)
    refuse_days_ahead(named, "day")
    table = pd.DataFrame({field: rows[column] for field, column in named.file.fields.items()})
    table = table.assign(aircraft=named.aircraft(rows["day"]), row=rows["row"], known_on=rows["recorded_on"])
    table = table.assign(**named.next_version()).dropna(subset=["aircraft"]).astype({"aircraft": "int64"})
    changes = current(CounterChange, withdrawn=True).where(among(CounterChange.aircraft, table["aircraft"]))
    known = frame_of(session, changes)
    table = brought_back(session, table, ["aircraft", "day"], known)
    by_key = sort_by_key(Resolved(named.file, rows.loc[table.index], table, named.file.fields), known)
    named.errors += by_key.errors
    new = by_key.new.sort_values(["aircraft", "day"])
    _refuse_what_would_renumber(named, new, other_facts(known, new))
    named.refuse_if_any()
    last = new["aircraft"].map(known.groupby("aircraft")["counter"].max()).fillna(1)
    new["counter"] = last + new.groupby("aircraft").cumcount() + 1
    append(session, act, [(CounterChange, new.drop(columns="row"))])
    return Outcome(added=len(new), same=by_key.same)


def _on_record(session: Session, table: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Landings of these aircraft on record: those of the days in question, and the nearest on either side.

    A day's sheet costs the same however long the log is: only what can stand beside these rows is read.
    """
    corrected = table["fact"].tolist() if "fact" in table else []
    wanted = among(Landing.aircraft, table["aircraft"]) & Landing.fact.not_in(corrected)
    first, last = table["day"].min().date(), table[["day", "to_day"]].max().max().date()
    within = current(Landing, withdrawn=True).where(wanted, Landing.day.between(first, last))
    aircraft = set(table["aircraft"])
    nearest = [
        _nearest_of(session, aircraft, Side(wanted & there, near, order), which)
        for there, near, order in (
            (Landing.day < first, Landing.day >= first - NEAR, Landing.day.desc()),
            (Landing.day > last, Landing.day <= last + NEAR, Landing.day.asc()),
        )
        for which in (Landing.id > 0, Landing.total_landings.is_not(None))
    ]
    beside = pd.concat(nearest).drop_duplicates("id")
    return frame_of(session, within), beside


@dataclass(frozen=True)
class Side:
    """What lies on one side of the days in question, what of it is near, and the order away from them."""

    there: ColumnElement[bool]
    near: ColumnElement[bool]
    order: ColumnElement[Any]


def _nearest_of(
    session: Session, aircraft: Collection[int], side: Side, which: ColumnElement[bool]
) -> pd.DataFrame:
    """Return for each aircraft its nearest row on one side; the whole log is read only where none is near."""
    near = _nearest(session, side.there & side.near, side.order, which)
    left = set(aircraft) - set(near["aircraft"])
    if not left:
        return near
    far = _nearest(session, side.there & among(Landing.aircraft, left), side.order, which)
    return pd.concat([near, far[~far["aircraft"].isin(near["aircraft"])]], ignore_index=True)


def _nearest(
    session: Session, side: ColumnElement[bool], order: ColumnElement[Any], which: ColumnElement[bool]
) -> pd.DataFrame:
    """Return for each aircraft the nearest row on one side of the days in question."""
    place = func.row_number().over(partition_by=Landing.aircraft, order_by=order).label("place")
    ranked = current(Landing).where(side, which).add_columns(place).subquery()
    return frame_of(session, select(ranked).where(ranked.c.place == 1)).drop(columns="place")


def _refuse_overlaps(named: Named, landings: pd.DataFrame) -> None:
    """Refuse a period that holds a day already written down, and a day within a period."""
    if landings["to_day"].isna().all():
        return
    ends = landings["to_day"].fillna(landings["day"])
    spans = landings.assign(from_on=landings["day"], to_on=ends + ONE_DAY)
    found = {}
    for clash in clashes(spans, ("aircraft",)):
        other = records(spans.iloc[[clash.other]])[0]
        until = (other["to_on"] - ONE_DAY).date()
        source = f"row {other['row']:.0f}" if other["row"] else "on record"
        found[clash.row] = f"overlaps {other['day'].date()} to {until} ({source})"
    advice = "correct day or to_day: a day's landings are written down once"
    refuse_rows(named, "day", found, advice)


def _refuse_what_would_renumber(named: Named, new: pd.DataFrame, known: pd.DataFrame) -> None:
    """Refuse a change before another one, or before totals that were read as the old counter's."""
    which = among(Landing.aircraft, new["aircraft"]), Landing.total_landings.is_not(None)
    totals = frame_of(
        named.session,
        current(Landing)
        .where(*which)
        .with_only_columns(Landing.aircraft, func.max(Landing.day).label("day"))
        .group_by(Landing.aircraft),
    )
    for what, beside, advice in (
        ("totals", totals, "correct the day, or correct those totals first"),
        ("a change", known[~known["withdrawn"]], "enter changes of the counter in the order of their days"),
    ):
        latest = beside.groupby("aircraft")["day"].max().reindex(new["aircraft"]).set_axis(new.index)
        late = dict.fromkeys(
            new.loc[latest >= new["day"], "row"], f"{what} on or after this day are on record"
        )
        refuse_rows(named, "day", late, advice)
