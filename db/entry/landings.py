"""Landings by day or period, and changes of the counter that running totals are read from."""

from collections.abc import Callable
from functools import cache
from typing import Any, Final

import pandas as pd
from sqlalchemy import BindParameter, ColumnElement, Select, bindparam, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from db.chain import Act, append
from db.entry.keyed import Resolved, other_facts, records_of, sort_by_key
from db.entry.named import Named
from db.entry.outcome import Outcome
from db.entry.possible import refuse_days_ahead, refuse_rows
from db.entry.totals import disagreements, refuse_falling_totals, with_counters
from db.entry.undone import brought_back
from db.entry.where import clashes
from db.files import FILES
from db.frames import frame_of, records
from db.lookup import ASKED_ONE_BY_ONE, among, current
from db.records.fleet import Aircraft
from db.records.readings import CounterChange, Landing

ONE_DAY: Final = pd.Timedelta(days=1)
# What landings on record tell of those beside them.
BESIDE: Final = ("aircraft", "day", "to_day", "full_stops", "touch_and_gos", "counter", "total_landings")


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
    by_key = sort_by_key(
        Resolved(named.file, rows.loc[table.index], table, named.file.fields), known, from_file=act.from_file
    )
    named.errors += by_key.errors
    new = with_counters(session, by_key.new)
    together = pd.concat([known[~known["withdrawn"]], nearest, new], ignore_index=True).fillna({"row": 0})
    refuse_falling_totals(named, together)
    _refuse_overlaps(named, together[["row", "aircraft", "day", "to_day"]])
    named.refuse_if_any()
    flags = tuple(disagreements(together))  # before the lock on the head: nobody waits for it
    made = append(session, act, [(Landing, new.drop(columns=["row", "starts_at"]))], progress=progress)
    records = records_of(act, by_key, (new, made.records[0]))
    return Outcome(len(new), by_key.same, flags=flags, records=records)


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
    by_key = sort_by_key(
        Resolved(named.file, rows.loc[table.index], table, named.file.fields), known, from_file=act.from_file
    )
    named.errors += by_key.errors
    new = by_key.new.sort_values(["aircraft", "day"])
    _refuse_what_would_renumber(named, new, other_facts(known, new))
    named.refuse_if_any()
    last = new["aircraft"].map(known.groupby("aircraft")["counter"].max()).fillna(1)
    new["counter"] = last + new.groupby("aircraft").cumcount() + 1
    made = append(session, act, [(CounterChange, new.drop(columns="row"))])
    return Outcome(len(new), by_key.same, records=records_of(act, by_key, (new, made.records[0])))


def _on_record(session: Session, table: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Landings of these aircraft on record: those of the days in question, and the nearest on either side.

    A day's sheet costs the same however long the log is: only what can stand beside these rows is read.
    """
    corrected = table["fact"].tolist() if "fact" in table else []
    aircraft = set(table["aircraft"].tolist())
    first, last = table["day"].min().date(), table[["day", "to_day"]].max().max().date()
    within = current(Landing, withdrawn=True).where(
        among(Landing.aircraft, aircraft),
        Landing.fact.not_in(corrected),
        Landing.day.between(first, last),
    )
    totals = bool(table["total_landings"].notna().any())
    asked: dict[str, Any] = {"first": first, "last": last, "corrected": corrected}
    if few := len(aircraft) <= ASKED_ONE_BY_ONE:
        asked["aircraft"] = sorted(aircraft)
    nearest = session.execute(_nearest(few=few, totals=totals), asked).all()
    found = {number for row in nearest for number in row[1:5] if number}
    beside = _beside(session, Landing.id.in_(found))
    if gaps := {row.fact: row.total_on for row in nearest if totals and row.before != row.total_before}:
        since = Landing.day >= min(filter(None, gaps.values()), default=first)
        counted = _beside(session, since, Landing.day < first, among(Landing.aircraft, gaps))
        after = counted["day"] >= counted["aircraft"].map(gaps).astype("datetime64[s]")
        beside = pd.concat([beside, counted[after]]).drop_duplicates(["aircraft", "day"])
    return frame_of(session, within), beside


def _beside(session: Session, *which: ColumnElement[bool]) -> pd.DataFrame:
    columns = [getattr(Landing, name) for name in BESIDE]
    return frame_of(session, current(Landing).where(*which).with_only_columns(*columns))


@cache
def _nearest(*, few: bool, totals: bool) -> Select[Any]:
    """
    Return what asks for the nearest landings of each aircraft before and after some days, by record number.

    The nearest rows, then (with `totals`) the nearest of those with a running total; the index by day finds each.
    """
    stands = current(Landing).where(
        Landing.aircraft == Aircraft.fact, Landing.fact.not_in(_many("corrected"))
    )
    before = stands.where(Landing.day < bindparam("first")).order_by(Landing.day.desc()).limit(1)
    after = stands.where(Landing.day > bindparam("last")).order_by(Landing.day.asc()).limit(1)
    has_total = Landing.total_landings.is_not(None)
    asked: dict[str, tuple[Select[Any], InstrumentedAttribute[Any]]]
    asked = {"before": (before, Landing.id), "after": (after, Landing.id)}
    if totals:
        asked |= {
            "total_before": (before.where(has_total), Landing.id),
            "total_after": (after.where(has_total), Landing.id),
            "total_on": (before.where(has_total), Landing.day),
        }
    columns = [
        rows.with_only_columns(column).correlate(Aircraft).scalar_subquery().label(name)
        for name, (rows, column) in asked.items()
    ]
    of_aircraft = select(Aircraft.fact, *columns).where(Aircraft.version == 1)
    return of_aircraft.where(Aircraft.fact.in_(_many("aircraft"))) if few else of_aircraft


def _many(name: str) -> BindParameter[Any]:
    return bindparam(name, expanding=True)


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
