"""Bases, aircraft types, brake types, limits, effectivity and aircraft, entered by the rows of their files."""

import datetime as dt
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.named import Named
from db.entry.outcome import Flag, Outcome
from db.files import FILES
from db.lookup import current, registrations
from db.records.fleet import Aircraft, AircraftType, BaseStation, BrakeType, Effectivity, WearLimit
from lifecycle.units import exact_nm

FIRST_DAY: Final = pd.Timestamp(dt.date.min).as_unit("s")  # since when a first registration is carried
LATEST: Final = pd.Timestamp("9998-12-31").as_unit("s")


def record_bases(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter bases."""
    return Named(session, FILES["bases"], rows).record(act, BaseStation)


def record_aircraft_types(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter aircraft types with their positions."""
    named = Named(session, FILES["aircraft_types"], rows)
    positions, groups = rows["positions"].str.split(";"), rows["position_groups"].str.split(";")
    twice = positions.map(lambda names: len(set(names)) < len(names)).to_numpy(dtype=bool)
    named.refuse("positions", twice, "a position is named twice", "give each position a name of its own")
    uneven = ((rows["position_groups"] != "") & (positions.map(len) != groups.map(len))).to_numpy()
    rule = "does not have one group for each position"
    named.refuse("position_groups", uneven, rule, "write as many groups as positions, in the same order")
    return named.record(act, AircraftType)


def record_brake_types(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter brake types (part numbers)."""
    return Named(session, FILES["brake_types"], rows).record(act, BrakeType)


def record_wear_limits(session: Session, act: Act, rows: pd.DataFrame, *, approved: bool = False) -> Outcome:
    """Enter wear limits; they rank as approved if `approved` (an administrator's load) and the row does not say no."""
    defaults = {"convention": "left", "unit": "mm", "at_limit": "off"}
    rows = rows.assign(**{name: rows[name].replace("", word) for name, word in defaults.items()})
    named = Named(session, FILES["wear_limits"], rows)
    _refuse_unknown_groups(named)
    outcome = named.record(
        act,
        WearLimit,
        brake_type=named.brake_types(),
        limit_nm=[exact_nm(limit, unit) for limit, unit in zip(rows["limit"], rows["unit"], strict=True)],
        approved=(rows["approved"] != "no") & approved,
    )
    return with_approval(outcome, rows, "limits", approved=approved)


def with_approval(outcome: Outcome, rows: pd.DataFrame, what: str, *, approved: bool) -> Outcome:
    """Say in the outcome that an administrator's load counts as approval."""
    count = int((rows["approved"] != "no").sum())
    if not (approved and count and outcome.added):
        return outcome
    said = Flag(0, f"new {what} count as approved: loaded by an administrator")
    return replace(outcome, flags=(*outcome.flags, said))


def record_effectivity(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter which brake types may be fitted where."""
    rows = rows.assign(mix=rows["mix"].replace("", "none"))
    named = Named(session, FILES["effectivity"], rows)
    types, aircraft = named.aircraft_types(), named.aircraft(rows["from"].fillna(LATEST))
    _refuse_unknown_groups(named)
    found = session.execute(current(Aircraft).with_only_columns(Aircraft.fact, Aircraft.aircraft_type))
    type_of = {row.fact: row.aircraft_type for row in found}
    other = np.array(
        [a in type_of and type_of[a] != t for a, t in zip(aircraft, types, strict=True)], dtype=bool
    )
    rule = "that aircraft is of another type"
    named.refuse("registration", other, rule, "correct the registration or the aircraft_type")
    return named.record(
        act, Effectivity, aircraft_type=types, aircraft=aircraft, brake_type=named.brake_types()
    )


def record_aircraft(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter aircraft by their first registration; a later one is a change of that aircraft."""
    named = Named(session, FILES["aircraft"], rows)
    spans = registrations(session, rows["registration"])
    later = (
        spans[spans["from_on"] > FIRST_DAY]
        .drop_duplicates("registration")
        .set_index("registration")["from_on"]
    )
    named.refuse(
        "registration",
        rows["registration"].isin(later.index).to_numpy(),
        lambda _, name: f"is carried by an aircraft on record since {later[name].date()}",
        "take the row out: that aircraft stands here under its first registration",
    )
    return named.record(act, Aircraft, aircraft_type=named.aircraft_types(), base=named.bases())


def _refuse_unknown_groups(named: Named) -> None:
    """A limit for a group that no aircraft type has would never apply, and nobody would notice."""
    texts = named.session.scalars(current(AircraftType).with_only_columns(AircraftType.position_groups))
    groups = sorted({group for text in texts if text for group in text.split(";")})
    asked = named.rows["position_group"]
    known = (
        f"write one of {', '.join(groups)}" if groups else "enter position_groups of an aircraft type first"
    )
    unknown = ((asked != "") & ~asked.isin(groups)).to_numpy()
    named.refuse("position_group", unknown, "no aircraft type has positions of this group", known)
