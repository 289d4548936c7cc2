"""The one shape in which records reach the arithmetic: plain frames, columns named as the files' columns."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Final

import pandas as pd

from lifecycle.errors import BadRecordsError

# text: str, "" where not known (yes/no answers too). number: float64, NaN where not known. id: int64, never missing.
# day: datetime64[s] at midnight, NaT where not known. list: tuple of str. nm: int64 nanometres (`units.exact_nm`).
TEXT: Final = "text"
NUMBER: Final = "number"
ID: Final = "id"
DAY: Final = "day"
LIST: Final = "list"
NM: Final = "nm"

# `record` is the record number that a figure cites; `aircraft` and `brake` are identities that outlive registrations
# and repeated serials. Readings come with the governing pin worked out (the shortest, in its own convention)
# beside all of them as typed, joined by semicolons.
COLUMNS: Final[Mapping[str, Mapping[str, str]]] = {
    "bases": {"record": ID, "base": TEXT, "name": TEXT, "kind": TEXT},
    "aircraft_types": {
        "record": ID,
        "aircraft_type": TEXT,
        "positions": LIST,
        "position_groups": LIST,
        "landing_mass_kg": NUMBER,
        "touchdown_speed_kt": NUMBER,
    },
    "brake_types": {
        "record": ID,
        "brake_type": TEXT,
        "maker": TEXT,
        "material": TEXT,
        "mass_kg": NUMBER,
        "pins": NUMBER,
        "new_pin_mm": NUMBER,
        "new_gap_mm": NUMBER,
    },
    "wear_limits": {
        "record": ID,
        "brake_type": TEXT,
        "weight_variant": TEXT,
        "position_group": TEXT,
        "convention": TEXT,
        "limit_nm": NM,
        "at_limit": TEXT,
        "effective_on": DAY,
        "source": TEXT,
    },
    "effectivity": {
        "record": ID,
        "aircraft_type": TEXT,
        "aircraft": NUMBER,
        "weight_variant": TEXT,
        "brake_type": TEXT,
        "position_group": TEXT,
        "mix": TEXT,
        "from_on": DAY,
        "to_on": DAY,
        "source": TEXT,
    },
    "aircraft": {
        "record": ID,
        "aircraft": ID,
        "registration": TEXT,
        "msn": TEXT,
        "aircraft_type": TEXT,
        "base": TEXT,
        "weight_variant": TEXT,
        "in_service_on": DAY,
        "retires_on": DAY,
    },
    "aircraft_changes": {
        "record": ID,
        "aircraft": ID,
        "from_on": DAY,
        "base": TEXT,
        "weight_variant": TEXT,
        "new_registration": TEXT,
        "status": TEXT,
    },
    "brakes": {
        "record": ID,
        "brake": ID,
        "serial": TEXT,
        "brake_type": TEXT,
        "owner": TEXT,
        "arrangement": TEXT,
        "landings_since_new": NUMBER,
        "landings_since_overhaul": NUMBER,
    },
    "installations": {
        "record": ID,
        "brake": ID,
        "aircraft": ID,
        "position": TEXT,
        "installed_on": DAY,
        "removed_on": DAY,
        "removal_reason": TEXT,
        "starts_as": TEXT,
        "start_pin_mm": NUMBER,
        "aircraft_landings_on": NUMBER,
        "aircraft_landings_off": NUMBER,
    },
    "reshims": {"record": ID, "brake": ID, "day": DAY, "step_mm": NUMBER, "step_sd_mm": NUMBER},
    "deactivations": {"record": ID, "brake": ID, "from_on": DAY, "to_on": DAY, "reason": TEXT},
    "landings": {
        "record": ID,
        "aircraft": ID,
        "day": DAY,
        "to_day": DAY,
        "base": TEXT,
        "full_stops": NUMBER,
        "touch_and_gos": NUMBER,
        "rejected_takeoffs": NUMBER,
        "flight_hours": NUMBER,
        "total_landings": NUMBER,
        "landing_mass_kg": NUMBER,
    },
    "pin_readings": {
        "record": ID,
        "brake": ID,
        "day": DAY,
        "pins": TEXT,
        "pin_nm": NM,
        "resolution_nm": NM,
        "unit": TEXT,
        "convention": TEXT,
        "within_limit": TEXT,
        "brakes_applied": TEXT,
        "cold": TEXT,
        "reader": TEXT,
        "occasion": TEXT,
        "aircraft_landings": NUMBER,
        "state": TEXT,
    },
    "events": {
        "record": ID,
        "aircraft": ID,
        "day": DAY,
        "event": TEXT,
        "position": TEXT,
        "speed_kt": NUMBER,
        "mass_kg": NUMBER,
    },
    "exclusions": {
        "record": ID,
        "brake": NUMBER,
        "aircraft": NUMBER,
        "from_on": DAY,
        "to_on": DAY,
        "reason": TEXT,
    },
    "shop_visits": {
        "record": ID,
        "brake": ID,
        "sent_on": DAY,
        "back_on": DAY,
        "brake_back": NUMBER,
        "work": TEXT,
        "cost": NUMBER,
        "currency": TEXT,
    },
    "stock": {
        "record": ID,
        "base": TEXT,
        "brake_type": TEXT,
        "counted_on": DAY,
        "serviceable": NUMBER,
        "unserviceable": NUMBER,
    },
    "orders": {
        "record": ID,
        "base": TEXT,
        "brake_type": TEXT,
        "quantity": NUMBER,
        "ordered_on": DAY,
        "due_on": DAY,
    },
    "flying_plan": {
        "record": ID,
        "aircraft": NUMBER,
        "base": TEXT,
        "month": DAY,
        "landings": NUMBER,
        "flight_hours": NUMBER,
    },
}

# Why a brake comes off. Of the unscheduled reasons, wear apart, each sends a brake to the shop and wants another.
UNSCHEDULED: Final = (
    "leak",
    "overheat",
    "rejected take-off",
    "oxidation",
    "contamination",
    "damage",
    "foreign object",
    "vibration",
    "dragging",
    "pin broken",
    "fuse plug",
    "other",
)
REMOVAL_REASONS: Final = (
    "worn",
    *UNSCHEDULED[:-1],
    "robbed",
    "opportunity",
    "modification",
    "service bulletin",
    "storage expired",
    "lease return",
    UNSCHEDULED[-1],
)

EMPTY_DTYPE: Final[Mapping[str, Any]] = {
    TEXT: "str",
    NUMBER: "float64",
    ID: "int64",
    NM: "int64",
    DAY: "datetime64[s]",
    LIST: "object",
}


@dataclass(frozen=True)
class Records:
    """
    Every record that the arithmetic may read, effective by one day and as known on one day.

    Each field is a frame with the columns of `COLUMNS`; a check "within limit" without a value has
    ``pin_nm`` -1; ``state`` of a reading is ``accepted``, ``held`` or ``refused``.
    """

    bases: pd.DataFrame
    aircraft_types: pd.DataFrame
    brake_types: pd.DataFrame
    wear_limits: pd.DataFrame
    effectivity: pd.DataFrame
    aircraft: pd.DataFrame
    aircraft_changes: pd.DataFrame
    brakes: pd.DataFrame
    installations: pd.DataFrame
    reshims: pd.DataFrame
    deactivations: pd.DataFrame
    landings: pd.DataFrame
    pin_readings: pd.DataFrame
    events: pd.DataFrame
    exclusions: pd.DataFrame
    shop_visits: pd.DataFrame
    stock: pd.DataFrame
    orders: pd.DataFrame
    flying_plan: pd.DataFrame

    def __post_init__(self) -> None:
        """Refuse frames that lack a declared column."""
        for field in fields(self):
            missing = set(COLUMNS[field.name]) - set(getattr(self, field.name).columns)
            if missing:
                wanted = ", ".join(COLUMNS[field.name])
                raise BadRecordsError(f"{field.name} lacks {sorted(missing)}; wanted columns: {wanted}")


def empty_frame(name: str) -> pd.DataFrame:
    """
    Frame of one kind of record with no rows.

    Parameters
    ----------
    name : str
        A key of `COLUMNS`.

    Returns
    -------
    DataFrame
        No rows, the declared columns with their types.
    """
    return pd.DataFrame(
        {column: pd.Series(dtype=EMPTY_DTYPE[kind]) for column, kind in COLUMNS[name].items()}
    )


def records_from(frames: Mapping[str, pd.DataFrame]) -> Records:
    """
    Records from the frames at hand, the others empty.

    Parameters
    ----------
    frames : mapping of str to DataFrame
        Frames by name; columns left out are filled with "not known".

    Returns
    -------
    Records
        Checked and complete.

    Raises
    ------
    BadRecordsError
        If a name or a column is not one of `COLUMNS`, or an identity or length column is left out.
    """
    unknown = set(frames) - set(COLUMNS)
    if unknown:
        raise BadRecordsError(f"records named {sorted(unknown)} are not known; wanted {sorted(COLUMNS)}")
    return Records(**{name: _complete(name, frames.get(name)) for name in COLUMNS})


def _complete(name: str, frame: pd.DataFrame | None) -> pd.DataFrame:
    if frame is None or frame.empty:
        return empty_frame(name)
    extra = set(frame.columns) - set(COLUMNS[name])
    if extra:
        raise BadRecordsError(
            f"{name} has unknown columns {sorted(extra)}; wanted {', '.join(COLUMNS[name])}"
        )
    filled = {}
    for column, kind in COLUMNS[name].items():
        if column in frame:
            filled[column] = frame[column].astype(EMPTY_DTYPE[kind])
        elif kind in (ID, NM, LIST) and column != "record":
            raise BadRecordsError(f"{name} lacks {column}, which has no 'not known' value")
        else:
            filled[column] = pd.Series(_unknown(kind), index=frame.index, dtype=EMPTY_DTYPE[kind])
    return pd.DataFrame(filled).reset_index(drop=True)


def _unknown(kind: str) -> object:
    return {TEXT: "", NUMBER: float("nan"), DAY: pd.NaT, ID: 0}[kind]
