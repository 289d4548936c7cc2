"""Readable ledgers for tests: a small invented fleet, and rows of a file as a form would hand them in."""

import datetime as dt
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from db.chain import Act, append
from db.imports.check import rows_from
from db.records.brakes import Brake
from db.records.fleet import Aircraft, AircraftType, BaseStation, BrakeType

ACT = Act("ann", "form", "test")
TODAY = dt.datetime.now(dt.UTC).date()


def rows(file: str, *entered: dict[str, Any]) -> pd.DataFrame:
    """Rows of a file, typed as text and checked as a form's."""
    texts = [{column: str(value) for column, value in row.items()} for row in entered]
    return rows_from(file, texts, today=TODAY)


def fleet(session: Session, *, aircraft: int = 2, brakes: int = 6) -> None:
    """Aircraft ZZ-001.. of type "twin" (positions 1 to 4), brakes S1.. of type BT-1 and the last of type BT-2."""
    append(session, ACT, [(BaseStation, [{"base": "Home"}])])
    kind = {"aircraft_type": "twin", "positions": "1;2;3;4", "position_groups": "out;in;in;out"}
    twin = append(session, ACT, [(AircraftType, [kind])]).records[0][0]
    types = [
        {"brake_type": name, "material": "carbon", "pins": 2, "new_pin_mm": 50.0, "new_gap_mm": 2.0}
        for name in ("BT-1", "BT-2")
    ]
    first, second = append(session, ACT, [(BrakeType, types)]).records[0]
    registered = [{"registration": f"ZZ-{i:03d}", "aircraft_type": twin} for i in range(1, aircraft + 1)]
    append(session, ACT, [(Aircraft, registered)])
    made = [{"serial": f"S{i}", "brake_type": first} for i in range(1, brakes)]
    append(session, ACT, [(Brake, [*made, {"serial": f"S{brakes}", "brake_type": second}])])


def installation(serial: str, position: object, installed_on: str, **values: Any) -> dict[str, Any]:
    """One row of installations, on ZZ-001 unless said otherwise."""
    given = {"serial": serial, "registration": "ZZ-001", "position": position, "installed_on": installed_on}
    return {**given, "starts_as": "new", **values}


def removal(serial: str, removed_on: str, **values: Any) -> pd.DataFrame:
    """One removal, as its form hands it in."""
    row = installation(serial, 1, removed_on, removed_on=removed_on, **values)
    columns = ["row", "serial", "brake_type", "removed_on", "removal_reason", "aircraft_landings_off"]
    return rows("installations", row)[[*columns, "recorded_on", "work_order", "note"]]
