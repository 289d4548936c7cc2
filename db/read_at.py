"""Readings with the brake and the place that they were taken of, as far as a wear limit depends on them."""

from collections.abc import Collection
from dataclasses import dataclass

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.fleet_on import positions, types_of_aircraft, variants_on
from db.frames import frame_of, records
from db.lookup import among, brakes_known, current
from db.pin_history import BrakePins, ReadPins, read_pins
from db.records.brakes import Brake, Occupancy
from db.records.fleet import BrakeType
from db.records.readings import PinReading


@dataclass(frozen=True)
class ReadAt:
    """A reading, and the brake with its place on the day; the history of its pin is left out."""

    pins: BrakePins
    read: ReadPins


def readings_at(session: Session, readings: Collection[int]) -> list[ReadAt]:
    """Return these readings as they were entered; those of a brake that was on no aircraft are left out."""
    rows = records(frame_of(session, current(PinReading).where(among(PinReading.fact, readings))))
    reads = [(row["brake"], read_pins(row, row["state"])) for row in rows]
    stays = session.scalars(
        select(Occupancy).where(among(Occupancy.brake, {brake for brake, _ in reads}))
    ).all()
    placed = [
        (stay, read)
        for brake, read in reads
        for stay in stays
        if stay.brake == brake and stay.from_on <= read.day and (stay.to_on is None or read.day < stay.to_on)
    ]
    if not placed:
        return []
    craft = pd.Series([stay.aircraft for stay, _ in placed])
    variants = variants_on(session, craft, pd.Series([pd.Timestamp(read.day) for _, read in placed]))
    groups = _groups(session)
    kinds = types_of_aircraft(session, set(craft))
    brakes = _brakes(session, {stay.brake for stay, _ in placed})
    return [
        ReadAt(_pins(stay, groups.get((kinds[stay.aircraft], stay.position), ""), variant, brakes), read)
        for (stay, read), variant in zip(placed, variants, strict=True)
    ]


def _groups(session: Session) -> dict[tuple[int, str], str]:
    places = positions(session).itertuples(index=False, name=None)
    return {(kind, position): group for kind, position, group in places}


def _brakes(
    session: Session, brakes: Collection[int]
) -> dict[int, tuple[str, str, float | None, float | None]]:
    """Serial, brake type, and the new pin's length and gap of each brake."""
    names = records(brakes_known(session, among(Brake.fact, brakes)))
    kinds = session.execute(
        current(BrakeType).where(BrakeType.brake_type.in_({row["brake_type"] for row in names}))
    )
    new = {row.brake_type: (row.new_pin_mm, row.new_gap_mm) for row in kinds}
    return {
        row["brake"]: (row["serial"], row["brake_type"], *new.get(row["brake_type"], (None, None)))
        for row in names
    }


def _pins(
    stay: Occupancy,
    group: str,
    variant: str,
    brakes: dict[int, tuple[str, str, float | None, float | None]],
) -> BrakePins:
    serial, kind, new_pin_mm, new_gap_mm = brakes[stay.brake]
    return BrakePins(
        stay.position,
        group,
        brake=stay.brake,
        serial=serial,
        brake_type=kind,
        weight_variant=variant,
        new_pin_mm=new_pin_mm,
        new_gap_mm=new_gap_mm,
    )
