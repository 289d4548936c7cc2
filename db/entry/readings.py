"""Pin readings: kept as typed; what cannot be is refused, what is doubtful is held, what is odd is flagged."""

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.base import table_of
from db.chain import Act, append
from db.entry.doubts import doubts, on_one_scale
from db.entry.keyed import NEXT_VERSION, Resolved, other_facts, records_of, sort_by_key
from db.entry.named import Named
from db.entry.outcome import Flag, Outcome
from db.entry.pins import measured_on_record, read_pins
from db.entry.possible import refuse_days_ahead, refuse_rows
from db.entry.undone import brought_back
from db.files import FILES
from db.fleet_on import brake_types_of
from db.frames import frame_of
from db.lookup import among, current
from db.records.brakes import Occupancy
from db.records.fleet import BrakeType
from db.records.readings import AND_HELD, PinReading, Ruling

# Longer than new by more than this share and one step of the gauge cannot be (common practice, no source).
LONGER: Final = 0.02
SAID: Final = ("brakes_applied", "cold", "reader", "aircraft_landings", "work_order", "note")
KEY: Final = ("brake", "day", "convention", "occasion")
COMPARED: Final = [
    *("row", "brake", "day", "since", "pin_nm", "resolution_nm", "unit", "cold", "brakes_applied"),
    *("new_pin_mm", "left_nm", "sign", "offset_nm", "scale"),
]
KEPT: Final = [
    *KEY,
    "pins",
    "unit",
    "pin_nm",
    "resolution_nm",
    "within_limit",
    *SAID,
    "known_on",
    "state",
    "reason",
]


def record_pin_readings(
    session: Session,
    act: Act,
    rows: pd.DataFrame,
    *,
    approved: bool = False,
    odd: Mapping[int, str] = MappingProxyType({}),
) -> Outcome:
    """
    Record pin readings; a differing one of the same brake, day, convention and occasion is kept and held.

    With `approved` (an administrator's load), a state given as accepted stands, as a second person once ruled. Rows
    that were `odd` when typed are held, with the reason given.
    """
    named = Named(session, FILES["pin_readings"], rows)
    refuse_days_ahead(named, "day")
    table = _table(named)
    known = other_facts(_on_record(session, table, width=rows.columns.str.startswith("pin_").sum()), table)
    columns = {"brake": "serial", **{name: name for name in (*KEY[1:], "measured", *SAID)}}
    file = replace(named.file, key=(*named.file.key, "measured"))
    typed = rows.loc[table.index].assign(measured=table["measured"])
    table = brought_back(session, table, [*KEY, "measured"], known)
    by_key = sort_by_key(Resolved(file, typed, table, columns), known, from_file=act.from_file)
    named.errors += by_key.errors
    new = on_one_scale(by_key.new)
    doubtful = doubts(session, _comparable(known, new))
    _refuse_impossible(named, new, [row for row, doubt in doubtful.items() if doubt.slip])
    named.refuse_if_any()
    why_held = _differing(known, new) | {row: doubt.text for row, doubt in doubtful.items()} | dict(odd)
    new = _with_states(new, why_held, reason=act.reason, approved=approved)
    flags = [Flag(row, f"held: {why_held[row]}") for row in new["row"].tolist() if why_held.get(row)]
    flags = sorted([*flags, *_odd(session, new)], key=lambda flag: flag.row)
    made = append(session, act, [(PinReading, new[[*KEPT, *(name for name in NEXT_VERSION if name in new)]])])
    records, held = records_of(act, by_key, (new, made.records[0])), int((new["state"] == "held").sum())
    return Outcome(len(new), by_key.same, held=held, flags=tuple(flags), records=records)


def doubtful_readings(session: Session, brakes: list[int]) -> dict[int, str]:
    """Say which accepted readings of these brakes would be doubted now, by record number; those ruled on stand."""
    known = _on_record(session, pd.DataFrame({"brake": brakes}), width=1)
    ruled = current(Ruling).where(among(Ruling.reading, known["fact"].tolist()))
    decided = known["fact"].isin([row.reading for row in session.execute(ruled)])
    asked = known[(known["state"] == "accepted") & ~known["withdrawn"]]
    asked = asked.assign(row=asked["id"].mask(decided, 0))
    return {row: doubt.text for row, doubt in doubts(session, _comparable(known.iloc[:0], asked)).items()}


def _table(named: Named) -> pd.DataFrame:
    """Rows as the table has them, with what their brake type is like; rows of unknown brakes left out."""
    rows = named.rows
    said = ["row", *KEY[1:], "unit", "within_limit", *SAID, "state"]
    table = pd.concat([rows[said], read_pins(named)], axis=1).assign(
        brake=named.brakes(), known_on=rows["recorded_on"], **named.next_version()
    )
    table = table.dropna(subset=["brake"]).astype({"brake": "int64"})
    return _with_types(named.session, table)


def _with_types(session: Session, readings: pd.DataFrame) -> pd.DataFrame:
    types = frame_of(session, current(BrakeType)).set_index("fact")[["new_pin_mm", "new_gap_mm", "pins"]]
    types = types.rename(columns={"pins": "type_pins"})
    kind = readings["brake"].map(brake_types_of(session, readings["brake"].tolist()))
    return pd.concat([readings, types.reindex(kind).set_axis(readings.index)], axis=1)


def _on_record(session: Session, table: pd.DataFrame, *, width: int) -> pd.DataFrame:
    """Readings of these brakes on record, in the state that a ruling left them in; withdrawn ones too."""
    which = among(PinReading.brake, table["brake"].tolist())
    known = frame_of(session, current(PinReading, withdrawn=True).where(which))
    rulings = current(Ruling).where(among(Ruling.reading, known["fact"].tolist()))
    ruled = {row.reading: row.state for row in session.execute(rulings)}
    state = [ruled.get(fact, state) for fact, state in zip(known["fact"], known["state"], strict=True)]
    known["state"] = pd.array(state, dtype="str")
    known["measured"] = measured_on_record(known["pins"], known["unit"], known["within_limit"], width)
    return on_one_scale(_with_types(session, known.assign(row=0)))


def _comparable(known: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """Readings that may be compared: with a value, cold, brakes applied, and not held or refused already."""
    known = known[(known["state"] == "accepted") & ~known["withdrawn"]]
    both = pd.concat([known[COMPARED], new.loc[~new["state"].isin(["held", "refused"]), COMPARED]])
    return both[(both["pin_nm"] >= 0) & (both["cold"] != "no") & (both["brakes_applied"] != "no")]


def _differing(known: pd.DataFrame, new: pd.DataFrame) -> dict[int, str]:
    """Rows that say something else than another reading of the same brake, day, convention and occasion."""
    keys = list(KEY)
    there = pd.MultiIndex.from_frame(known.loc[~known["withdrawn"], keys])
    differs = new.duplicated(keys) | pd.MultiIndex.from_frame(new[keys]).isin(there)
    text = "differs from another reading of this brake on this day; both are kept"
    return dict.fromkeys(new.loc[differs, "row"], text)


def _refuse_impossible(named: Named, new: pd.DataFrame, slips: list[int]) -> None:
    """Refuse pins longer than new, more wear than a pin is long, and more pins than the brake has."""
    new_nm = new["new_pin_mm"].where(new["scale"] == "left") * 1e6
    room = new_nm * LONGER + new["resolution_nm"]
    about = dict(zip(new["row"], new["new_pin_mm"], strict=True))
    explained = new["row"].isin(slips)
    for bad, rule in (
        (new["left_nm"] > new_nm + room, "says that the pin is longer than new ({:g} mm)"),
        (new["left_nm"] < -room, "says that more is worn than a new pin is long ({:g} mm)"),
    ):
        found = {row: rule.format(about[row]) for row in new.loc[bad & ~explained, "row"]}
        refuse_rows(
            named, "pin_1", found, "check length, unit and convention, and the brake type's new_pin_mm"
        )
    many = new[new["pin_count"] > new["type_pins"]]
    found = {
        row: f"this brake type has {pins:.0f} pins"
        for row, pins in zip(many["row"], many["type_pins"], strict=True)
    }
    refuse_rows(named, "pin_1", found, "take the extra pins out, or correct the brake type")


def _with_states(
    new: pd.DataFrame, held: dict[int, str], *, reason: str | None, approved: bool
) -> pd.DataFrame:
    """Each with its state and why: what the person gave as the reason stands first, and is never replaced."""
    why = pd.Series([held.get(row, "") for row in new["row"].tolist()], index=new.index, dtype="str")
    stands = new["state"].isin(["held", "refused"] + (["accepted"] if approved else []))
    state = new["state"].where(stands, np.where(why == "", "accepted", "held")).astype("str")
    said = f"{reason}{AND_HELD}" if reason else ""
    return new.assign(state=state, reason=why.where(why == "", said + why))


def _odd(session: Session, new: pd.DataFrame) -> list[Flag]:
    """Flags on readings that are kept out of the rate, or that tell less than they could."""
    hot = "taken hot: kept out of the rate, and it never clears a low reading"
    released = "taken with brakes released: kept out of the rate, and it never clears a low reading"
    fewer = (new["pin_count"] > 0) & (new["pin_count"] < new["type_pins"])
    return [
        Flag(row, text)
        for bad, text in (
            (new["cold"] == "no", hot),
            (new["brakes_applied"] == "no", released),
            (~_installed(session, new), "this brake was not installed on that day"),
            (fewer, "not every pin of the brake is written down: a shorter one would govern"),
        )
        for row in new.loc[bad, "row"].tolist()
    ]


def _installed(session: Session, new: pd.DataFrame) -> "pd.Series[bool]":
    """Whether the brake was in a position on the day, the days it went on and came off included."""
    which = among(Occupancy.brake, new["brake"].tolist())
    spans = frame_of(session, select(table_of(Occupancy)).where(which))
    both = new[["row", "brake", "day"]].merge(spans, on="brake")
    there = (both["from_on"] <= both["day"]) & (both["to_on"].isna() | (both["day"] <= both["to_on"]))
    return new["row"].isin(both.loc[there, "row"])
