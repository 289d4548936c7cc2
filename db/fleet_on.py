"""What is known of brakes and aircraft: types, positions, weight variant on a day, names for people."""

import datetime as dt
from collections.abc import Iterable
from itertools import zip_longest
from typing import Any

import pandas as pd
from sqlalchemy.orm import InstrumentedAttribute, Session

from db.base import Fact
from db.frames import records
from db.lookup import among, brakes_known, current
from db.records.brakes import Brake
from db.records.fleet import Aircraft, AircraftChange, AircraftType


def positions(session: Session) -> pd.DataFrame:
    """Positions of each aircraft type: aircraft_type, position, position_group ("" where the type has no groups)."""
    rows = [
        (kind.fact, position, group)
        for kind in session.execute(current(AircraftType))
        for position, group in zip_longest(
            kind.positions.split(";"), (kind.position_groups or "").split(";"), fillvalue=""
        )
    ]
    frame = pd.DataFrame(rows, columns=["aircraft_type", "position", "position_group"])
    return frame.astype({"aircraft_type": "int64", "position": "str", "position_group": "str"})


def types_of_aircraft(session: Session, aircraft: Iterable[int]) -> dict[int, int]:
    """Aircraft type of each of these aircraft."""
    return _values(session, Aircraft, Aircraft.aircraft_type, aircraft)


def brake_types_of(session: Session, brakes: Iterable[int]) -> dict[int, int]:
    """Brake type of each of these brakes."""
    return _values(session, Brake, Brake.brake_type, brakes)


def brake_names(session: Session, brakes: Iterable[int]) -> dict[int, str]:
    """Serial and brake type of each of these brakes, for people to read."""
    names = records(brakes_known(session, among(Brake.fact, brakes)))
    return {row["brake"]: f"{row['serial']} ({row['brake_type']})" for row in names}


def registrations_of(session: Session, aircraft: Iterable[int]) -> dict[int, str]:
    """Newest registration of each of these aircraft, for people to read."""
    wanted = set(aircraft)
    first = _values(session, Aircraft, Aircraft.registration, wanted)
    changes = current(AircraftChange).where(
        among(AircraftChange.aircraft, wanted), AircraftChange.new_registration.is_not(None)
    )
    renamed = session.execute(changes.order_by(AircraftChange.from_on))
    return first | {row.aircraft: row.new_registration for row in renamed if row.aircraft in wanted}


def variants_on(session: Session, aircraft: "pd.Series[int]", day: "pd.Series[Any]") -> "pd.Series[str]":
    """Weight variant of each aircraft on the day beside it, "" where not known; indexed as the aircraft."""
    wanted = among(Aircraft.fact, aircraft)
    first = current(Aircraft).where(wanted).with_only_columns(Aircraft.fact, Aircraft.weight_variant)
    changed = current(AircraftChange).where(
        among(AircraftChange.aircraft, aircraft), AircraftChange.weight_variant.is_not(None)
    )
    spans = [(row.fact, row.weight_variant or "", dt.date.min) for row in session.execute(first)]
    spans += [(row.aircraft, row.weight_variant, row.from_on) for row in session.execute(changed)]
    variants = pd.DataFrame(spans, columns=["aircraft", "variant", "from_on"])
    variants = variants.astype({"aircraft": "int64", "variant": "str", "from_on": "datetime64[s]"})
    asked = pd.DataFrame(
        {"aircraft": aircraft.astype("int64"), "day": day.astype("datetime64[s]")}
    ).reset_index()
    found = pd.merge_asof(
        asked.sort_values("day"),
        variants.sort_values("from_on"),
        left_on="day",
        right_on="from_on",
        by="aircraft",
    )
    return found.set_index("index")["variant"].reindex(aircraft.index).fillna("").astype("str")


def _values(
    session: Session, model: type[Fact], column: InstrumentedAttribute[Any], facts: Iterable[int]
) -> dict[int, Any]:
    wanted = set(facts)
    rows = session.execute(
        current(model).where(among(model.fact, wanted)).with_only_columns(model.fact, column)
    )
    return {row[0]: row[1] for row in rows if row[0] in wanted}
