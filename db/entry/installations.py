"""Brakes go on positions and come off: recorded, odd ones flagged, impossible ones refused with who is where."""

from typing import Any, Final

import numpy as np
import pandas as pd
from sqlalchemy import bindparam, insert, select, update
from sqlalchemy.orm import Session

from db.base import table_of
from db.chain import Act, append
from db.conflicts import conflicts_in_words
from db.entry.fits import fit_flags
from db.entry.keyed import NEXT_VERSION, Resolved, numbered, records_of, sort_by_key
from db.entry.named import Named
from db.entry.outcome import Flag, Outcome, RowRecord
from db.entry.possible import (
    refuse_clashes,
    refuse_days_ahead,
    refuse_in_the_shop,
    refuse_no_position,
    refuse_rows,
    refuse_unended,
)
from db.entry.undone import brought_back
from db.files import FILES
from db.frames import frame_of
from db.lookup import among, current
from db.plain import plain_columns, rows_of
from db.records.brakes import Installation, Occupancy, Removal

# Fields of installations with their removals, and the columns of the file that they come from. The work order and the
# note are not among them: those of the removal may be others than those of the installation.
COLUMNS: Final = {
    field: column
    for field, column in FILES["installations"].fields.items()
    if field not in ("work_order", "note")
}
OF_REMOVAL: Final = ["removed_on", "removal_reason", "landings_off"]
OF_INSTALLATION: Final = [field for field in COLUMNS if field not in OF_REMOVAL]
# A removal alone says nothing of these.
BLANK: Final[dict[str, Any]] = {
    **dict.fromkeys(("registration", "position", "starts_as", "release_reference"), ""),
    **dict.fromkeys(("start_pin", "aircraft_landings_on"), np.nan),
    "installed_on": np.datetime64("NaT", "s"),
}
WITH_IT: Final = ["row", "known_on", "work_order", "note"]


def record_installations(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Record installations, with their removals where the row has them; a removal filled in later is a removal."""
    named = Named(session, FILES["installations"], rows)
    refuse_days_ahead(named, "installed_on", "removed_on")
    table = pd.DataFrame({column: rows[source] for column, source in COLUMNS.items()})
    return _record(
        named, act, table.assign(brake=named.brakes(), aircraft=named.aircraft(rows["installed_on"]))
    )


def record_removals(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """
    Record removals of brakes from wherever they are.

    Columns: serial, brake_type, removed_on, removal_reason, aircraft_landings_off, and those that any file may carry.
    """
    rows = rows.assign(**BLANK)
    named = Named(session, FILES["installations"], rows)
    refuse_days_ahead(named, "removed_on")
    there = pd.DataFrame({"brake": named.brakes()}, index=rows.index)
    which = among(Occupancy.brake, there["brake"].dropna().astype("int64"))
    spans = frame_of(session, select(table_of(Occupancy)).where(which))
    still = spans[spans["to_on"].isna()].rename(columns={"from_on": "installed_on"})
    there = there.merge(still, on="brake", how="left").set_index(rows.index)
    nowhere = (there["brake"].notna() & there["aircraft"].isna()).to_numpy()
    named.refuse(
        "serial", nowhere, "is not installed anywhere", "correct it, or enter the installation first"
    )
    named.rows = rows.assign(installed_on=there["installed_on"])
    table = pd.DataFrame({column: named.rows[source] for column, source in COLUMNS.items()})
    table = table.assign(**there[["brake", "aircraft", "position"]])
    return _record(named, act, table, of_removals=True)


def installations_known(session: Session, brakes: list[int]) -> pd.DataFrame:
    """Installations of these brakes, withdrawn ones too, each with its removal (removal_id NaN: never removed)."""
    made = frame_of(session, current(Installation, withdrawn=True).where(among(Installation.brake, brakes)))
    which = among(Removal.installation, made["fact"].tolist())
    ended = frame_of(session, current(Removal, withdrawn=True).where(which))
    ended = ended.rename(columns={"aircraft_landings": "landings_off"})
    for column, blank in zip(OF_REMOVAL, (pd.NaT, "", np.nan), strict=True):
        ended[column] = ended[column].mask(ended["withdrawn"], blank)
    numbers = ended[["id", "fact", "version"]].add_prefix("removal_")
    ended = pd.concat([ended[OF_REMOVAL], numbers], axis=1).assign(fact=ended["installation"])
    return made.merge(ended, on="fact", how="left").fillna({"removal_reason": ""})


def _record(named: Named, act: Act, table: pd.DataFrame, *, of_removals: bool = False) -> Outcome:
    """
    Refuse or write rows that have the columns of COLUMNS; brake and aircraft NaN where already refused.

    The records told of are the installations, or `of_removals` those.
    """
    rows = named.rows
    table = pd.concat([table[list(COLUMNS)], rows[["row", "work_order", "note"]]], axis=1)
    table = table.assign(known_on=rows["recorded_on"]).dropna(subset=["brake", "aircraft"])
    table = table.astype({"brake": "int64", "aircraft": "int64"})
    known = installations_known(named.session, table["brake"].tolist())
    table = brought_back(named.session, table, ["brake", "installed_on"], known)
    by_key = sort_by_key(
        Resolved(named.file, rows.loc[table.index], table, COLUMNS), known, from_file=act.from_file
    )
    named.errors += by_key.errors
    with_it = table[["row", "work_order", "note"]]
    closed = by_key.completed.drop(columns=["work_order", "note"]).merge(with_it, on="row")
    gone = dict.fromkeys(
        closed.loc[closed["withdrawn"], "row"], "this installation was entered and withdrawn"
    )
    refuse_rows(named, "serial", gone, "bring it back under Corrections first")
    refuse_unended(named)
    if len(by_key.new):  # removals alone bring nobody to a position
        refuse_no_position(named, by_key.new)
        refuse_clashes(named, by_key.new, closed=closed)
        refuse_in_the_shop(named, by_key.new)
    named.refuse_if_any()
    new, removed = _write(named.session, act, _with_ends(by_key.new, known), closed)
    flags = [*start_flags(new, known), *fit_flags(named.session, new)] if len(new) else []
    flags.sort(key=lambda flag: flag.row)
    if of_removals:
        records = removed
    else:
        stands = closed.assign(
            version=closed["version"] - 1
        )  # of the installation; it is its removal that is new
        records = records_of(act, by_key, (new, new["fact"]), (stands, stands["fact"]))
    return Outcome(len(new), by_key.same, len(closed), flags=tuple(flags), records=records)


def _with_ends(new: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    """Return new installations with the numbers of what they follow: their own fact and removal, where withdrawn."""
    blank = pd.Series(np.nan, index=new.index)
    new = new.assign(**{name: new.get(name, blank) for name in NEXT_VERSION})
    ended = known.set_index("fact")[["removal_id", "removal_fact", "removal_version"]]
    return pd.concat([new, ended.reindex(new["fact"]).set_axis(new.index)], axis=1)


def _write(
    session: Session, act: Act, new: pd.DataFrame, closed: pd.DataFrame
) -> tuple[pd.DataFrame, tuple[RowRecord, ...]]:
    """Write installations and removals; return the installations with their numbers, and the removals' records."""
    removed: tuple[RowRecord, ...] = ()
    if len(new):
        made = append(session, act, [(Installation, new[[*OF_INSTALLATION, *WITH_IT[1:], *NEXT_VERSION]])])
        records = pd.Series(np.array(made.records[0], dtype=np.int64), index=new.index)
        new = new.assign(fact=new["fact"].fillna(records).astype("int64"))
    ended = pd.concat([new[new["removed_on"].notna()], closed[new.columns]])
    if len(ended):
        removals = _removals(ended).assign(row=ended["row"])
        (numbers,) = append(session, act, [(Removal, removals.drop(columns="row"))]).records
        removed = tuple(numbered(removals, numbers))
    with conflicts_in_words():
        # Positions are vacated before they are filled.
        vacated = [{"of": row["installation"], "ends": row["to_on"]} for row in _spans(closed)]
        occupancy = table_of(Occupancy)
        ends = update(occupancy).where(occupancy.c.installation == bindparam("of"))
        if vacated:
            session.execute(ends.values(to_on=bindparam("ends")), vacated)
        if filled := _spans(new):
            session.execute(insert(occupancy), filled)
    return new, removed


def _spans(installations: pd.DataFrame) -> list[dict[str, Any]]:
    names = {"fact": "installation", "installed_on": "from_on", "removed_on": "to_on"}
    table = table_of(Occupancy)
    if installations.empty:
        return []
    return rows_of(plain_columns(table, installations.rename(columns=names)[table.columns.keys()]))


def _removals(ended: pd.DataFrame) -> pd.DataFrame:
    """Removals as their table has them; what was written down before a removal cannot have told of it."""
    later = ended[["known_on", "removed_on"]].max(axis=1)
    return pd.DataFrame(
        {
            "installation": ended["fact"],
            "removed_on": ended["removed_on"],
            "removal_reason": ended["removal_reason"],
            "aircraft_landings": ended["landings_off"],
            "known_on": later.where(ended["known_on"].notna(), ended["known_on"]),
            "work_order": ended["work_order"],
            "note": ended["note"],
            "supersedes": ended["removal_id"],
            "fact": ended["removal_fact"],
            "version": ended["removal_version"].fillna(0) + 1,
        }
    )


def start_flags(new: pd.DataFrame, known: pd.DataFrame) -> list[Flag]:
    """Flags on how a brake starts, where its earlier installations say otherwise."""
    every = pd.concat(
        [known.loc[~known["withdrawn"], ["brake", "installed_on"]], new[["brake", "installed_on"]]]
    )
    first = new["brake"].map(every.groupby("brake")["installed_on"].min()) == new["installed_on"]
    unknown = "starts as same run, but no earlier installation is on record: its start is unknown"
    again = "starts as new, but an earlier installation is on record"
    return [Flag(row, unknown) for row in new.loc[first & (new["starts_as"] == "same run"), "row"]] + [
        Flag(row, again) for row in new.loc[~first & (new["starts_as"] == "new"), "row"]
    ]
