"""
Readable builders of `Records` for tests: one function a kind of record, `records` puts them together.

>>> records(installation(1, "2024-01-01"), daily(1, "2024-01-01", 30, full_stops=2), reading(1, "2024-02-01", 40.0))

What is not given is filled in: aircraft 1 of type "twin" with positions 1 to 4 (groups in and out), brake type "BT-1"
of 50 mm new, and one brake "S<number>" for each brake that an installation or a reading names.
"""

from collections.abc import Iterable
from typing import Any, NamedTuple

import pandas as pd

from lifecycle.observations import COLUMNS, DAY, Records, records_from
from lifecycle.units import exact_nm


class Row(NamedTuple):
    """One record of one kind."""

    frame: str
    columns: dict[str, Any]


def records(*rows: Row | Iterable[Row]) -> Records:
    """Records of these rows, in this order; record numbers count up within each kind."""
    flat = [row for item in rows for row in ([item] if isinstance(item, Row) else item)]
    by_frame: dict[str, list[dict[str, Any]]] = {}
    for row in _filled_in(flat):
        kind = by_frame.setdefault(row.frame, [])
        kind.append({"record": len(kind) + 1, **row.columns})
    return records_from({name: _frame(name, kind) for name, kind in by_frame.items()})


def _filled_in(rows: list[Row]) -> list[Row]:
    present = {row.frame for row in rows}
    types = [] if "aircraft_types" in present else [aircraft_type()]
    craft = [] if "aircraft" in present else [aircraft()]
    brake_types = [] if "brake_types" in present else [brake_type()]
    declared = {row.columns["brake"] for row in rows if row.frame == "brakes"}
    named = {row.columns["brake"] for row in rows if row.frame in ("installations", "pin_readings")}
    return [*types, *craft, *brake_types, *(brake(number) for number in sorted(named - declared)), *rows]


def _frame(name: str, kind: list[dict[str, Any]]) -> pd.DataFrame:
    frame = pd.DataFrame(kind)
    for column in frame.columns:
        if COLUMNS[name][column] == DAY:
            frame[column] = pd.to_datetime(frame[column]).astype("datetime64[s]")
    return frame


def base(name: str = "Home", kind: str = "line") -> Row:
    return Row("bases", {"base": name, "name": name, "kind": kind})


def aircraft_type(
    name: str = "twin",
    positions: str = "1;2;3;4",
    groups: str = "out;in;in;out",
    landing_mass_kg: float | None = 60_000.0,
    touchdown_speed_kt: float | None = 130.0,
) -> Row:
    return Row(
        "aircraft_types",
        {
            "aircraft_type": name,
            "positions": tuple(positions.split(";")),
            "position_groups": tuple(groups.split(";")) if groups else (),
            "landing_mass_kg": landing_mass_kg,
            "touchdown_speed_kt": touchdown_speed_kt,
        },
    )


def brake_type(
    name: str = "BT-1",
    material: str = "carbon",
    new_pin_mm: float | None = 50.0,
    new_gap_mm: float | None = None,
    pins: int = 1,
) -> Row:
    values = {"brake_type": name, "material": material, "new_pin_mm": new_pin_mm, "new_gap_mm": new_gap_mm}
    return Row("brake_types", {**values, "pins": pins})


def limit(
    length: float | str,
    brake_type: str = "BT-1",
    *,
    weight_variant: str = "",
    position_group: str = "",
    convention: str = "left",
    unit: str = "mm",
    at_limit: str = "off",
    effective_on: str = "2000-01-01",
) -> Row:
    return Row(
        "wear_limits",
        {
            "brake_type": brake_type,
            "weight_variant": weight_variant,
            "position_group": position_group,
            "convention": convention,
            "limit_nm": exact_nm(str(length), unit),
            "at_limit": at_limit,
            "effective_on": effective_on,
            "source": "invented manual",
        },
    )


def aircraft(
    number: int = 1,
    registration: str | None = None,
    aircraft_type: str = "twin",
    *,
    base: str = "Home",
    weight_variant: str = "",
    in_service_on: str | None = None,
    retires_on: str | None = None,
) -> Row:
    return Row(
        "aircraft",
        {
            "aircraft": number,
            "registration": registration or f"ZZ-{number:03d}",
            "aircraft_type": aircraft_type,
            "base": base,
            "weight_variant": weight_variant,
            "in_service_on": in_service_on,
            "retires_on": retires_on,
        },
    )


def change(aircraft: int, from_on: str, **values: str) -> Row:
    """A change of base, weight_variant, new_registration or status."""
    return Row("aircraft_changes", {"aircraft": aircraft, "from_on": from_on, **values})


def brake(number: int, serial: str | None = None, brake_type: str = "BT-1", **values: Any) -> Row:
    return Row(
        "brakes", {"brake": number, "serial": serial or f"S{number}", "brake_type": brake_type, **values}
    )


def installation(
    brake: int,
    installed_on: str,
    removed_on: str | None = None,
    *,
    aircraft: int = 1,
    position: str = "1",
    starts_as: str = "new",
    removal_reason: str = "",
    start_pin_mm: float | None = None,
    landings_on: float | None = None,
    landings_off: float | None = None,
) -> Row:
    return Row(
        "installations",
        {
            "brake": brake,
            "aircraft": aircraft,
            "position": position,
            "installed_on": installed_on,
            "removed_on": removed_on,
            "removal_reason": removal_reason,
            "starts_as": starts_as,
            "start_pin_mm": start_pin_mm,
            "aircraft_landings_on": landings_on,
            "aircraft_landings_off": landings_off,
        },
    )


def landings(aircraft: int, day: str, full_stops: float | None = 1, **values: Any) -> Row:
    """One aircraft-day (or a period total, with ``to_day``)."""
    return Row("landings", {"aircraft": aircraft, "day": day, "full_stops": full_stops, **values})


def daily(aircraft: int, first: str, days: int, full_stops: float = 1, **values: Any) -> list[Row]:
    """The same landings every day from the first."""
    dates = pd.date_range(first, periods=days)
    return [landings(aircraft, day.date().isoformat(), full_stops, **values) for day in dates]


def reading(
    brake: int,
    day: str,
    pin: float | str | None,
    *,
    unit: str = "mm",
    convention: str = "left",
    resolution_mm: float = 0.1,
    state: str = "accepted",
    **values: Any,
) -> Row:
    """A pin reading; ``pin`` None is a check without a value, "within limit" unless told otherwise."""
    return Row(
        "pin_readings",
        {
            "brake": brake,
            "day": day,
            "pin_nm": -1 if pin is None else exact_nm(str(pin), unit),
            "resolution_nm": round(resolution_mm * 1e6),
            "unit": unit,
            "convention": convention,
            "within_limit": "yes" if pin is None else "",
            "state": state,
            **values,
        },
    )


def reshim(brake: int, day: str, step_mm: float | None, step_sd_mm: float | None = 0.0) -> Row:
    return Row("reshims", {"brake": brake, "day": day, "step_mm": step_mm, "step_sd_mm": step_sd_mm})


def deactivation(brake: int, from_on: str, to_on: str | None = None, reason: str = "leak") -> Row:
    return Row("deactivations", {"brake": brake, "from_on": from_on, "to_on": to_on, "reason": reason})


def event(
    aircraft: int,
    day: str,
    event: str = "rejected take-off",
    *,
    speed_kt: float | None = None,
    mass_kg: float | None = None,
    position: str = "",
) -> Row:
    values = {"aircraft": aircraft, "day": day, "event": event, "position": position}
    return Row("events", {**values, "speed_kt": speed_kt, "mass_kg": mass_kg})


def exclusion(
    from_on: str,
    to_on: str | None,
    *,
    brake: int | None = None,
    aircraft: int | None = None,
    reason: str = "dragging",
) -> Row:
    values = {"brake": brake, "aircraft": aircraft, "from_on": from_on, "to_on": to_on, "reason": reason}
    return Row("exclusions", values)


def shop_visit(
    brake: int,
    sent_on: str,
    back_on: str | None = None,
    work: str = "overhaul",
    brake_back: int | None = None,
    **values: Any,
) -> Row:
    back = {"brake": brake, "sent_on": sent_on, "back_on": back_on, "brake_back": brake_back}
    return Row("shop_visits", {**back, "work": work, **values})


def plan(
    month: str,
    landings: float,
    *,
    aircraft: int | None = None,
    base: str = "",
    flight_hours: float | None = None,
) -> Row:
    values = {"aircraft": aircraft, "base": base, "month": f"{month}-01", "landings": landings}
    return Row("flying_plan", {**values, "flight_hours": flight_hours})


def stock(base: str, brake_type: str, counted_on: str, serviceable: float, unserviceable: float = 0) -> Row:
    values = {"base": base, "brake_type": brake_type, "counted_on": counted_on}
    return Row("stock", {**values, "serviceable": serviceable, "unserviceable": unserviceable})


def order(base: str, brake_type: str, quantity: float, ordered_on: str, due_on: str | None = None) -> Row:
    values = {"base": base, "brake_type": brake_type, "quantity": quantity}
    return Row("orders", {**values, "ordered_on": ordered_on, "due_on": due_on})
