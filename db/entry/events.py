"""What happened to an aircraft, and the spans of known fault."""

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.named import Mask, Named, Numbers
from db.entry.outcome import Outcome
from db.files import FILES
from db.fleet_on import positions, types_of_aircraft
from db.records.readings import Event, Exclusion


def record_events(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter events of an aircraft or of one of its positions."""
    named = Named(session, FILES["events"], rows)
    aircraft = named.aircraft(rows["day"])
    rule = "that aircraft's type has no such position"
    named.refuse(
        "position", _nowhere(session, rows, aircraft), rule, "write a position of the type, or leave it empty"
    )
    return named.record(act, Event, aircraft=aircraft)


def record_exclusions(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter spans of a known fault of a brake or an aircraft."""
    named = Named(session, FILES["exclusions"], rows)
    return named.record(act, Exclusion, brake=named.brakes(), aircraft=named.aircraft(rows["from"]))


def _nowhere(session: Session, rows: pd.DataFrame, aircraft: Numbers) -> Mask:
    types = types_of_aircraft(session, aircraft[aircraft > 0].astype(int).tolist())
    there = set(positions(session)[["aircraft_type", "position"]].itertuples(index=False, name=None))
    asked = zip(aircraft, rows["position"], strict=True)
    nowhere = [
        bool(position) and number in types and (types[number], position) not in there
        for number, position in asked
    ]
    return np.array(nowhere, dtype=bool)
