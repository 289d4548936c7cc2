"""Bases, aircraft types, aircraft and what happens to them, brake types, limits, effectivity."""

import datetime as dt

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base, Fact, key_of, words

CONVENTIONS = ("left", "gap", "used")
LENGTH_UNITS = ("mm", "in")
STATUSES = ("flying", "stored", "in check", "leased out", "deployed", "sold")


class BaseStation(Fact, Base):
    """A base: line or depot."""

    __tablename__ = "base"

    base: Mapped[str]
    name: Mapped[str | None]
    kind: Mapped[str | None] = mapped_column(words("base_kind", "line", "depot"))


class AircraftType(Fact, Base):
    """An aircraft type with its brake positions (texts joined by semicolons)."""

    __tablename__ = "aircraft_type"

    aircraft_type: Mapped[str]
    positions: Mapped[str]
    position_groups: Mapped[str | None]
    landing_mass_kg: Mapped[float | None]
    touchdown_speed_kt: Mapped[float | None]


class BrakeType(Fact, Base):
    """A brake part number."""

    __tablename__ = "brake_type"

    brake_type: Mapped[str]
    maker: Mapped[str | None]
    material: Mapped[str] = mapped_column(words("material", "steel", "carbon"))
    mass_kg: Mapped[float | None]
    pins: Mapped[int | None]
    new_pin_mm: Mapped[float | None]
    new_gap_mm: Mapped[float | None]


class WearLimit(Fact, Base):
    """A wear limit as typed, dated and sourced; `limit_nm` is the same length counted exactly."""

    __tablename__ = "wear_limit"

    brake_type: Mapped[int] = mapped_column(ForeignKey("brake_type.id"), index=True)
    weight_variant: Mapped[str | None]
    position_group: Mapped[str | None]
    convention: Mapped[str] = mapped_column(words("convention", *CONVENTIONS))
    limit: Mapped[str]
    unit: Mapped[str] = mapped_column(words("unit", *LENGTH_UNITS))
    limit_nm: Mapped[int]
    at_limit: Mapped[str] = mapped_column(words("at_limit", "off", "allowed"))
    effective_on: Mapped[dt.date]
    source: Mapped[str]
    approved: Mapped[bool]


class Effectivity(Fact, Base):
    """Which brake types an aircraft type, aircraft, variant or position group may carry, and how they mix."""

    __tablename__ = "effectivity"

    aircraft_type: Mapped[int] = mapped_column(ForeignKey("aircraft_type.id"), index=True)
    aircraft: Mapped[int | None] = mapped_column(ForeignKey("aircraft.id"))
    weight_variant: Mapped[str | None]
    brake_type: Mapped[int] = mapped_column(ForeignKey("brake_type.id"))
    position_group: Mapped[str | None]
    mix: Mapped[str] = mapped_column(words("mix", "none", "same group", "any"))
    from_on: Mapped[dt.date | None]
    to_on: Mapped[dt.date | None]
    source: Mapped[str | None]


class Aircraft(Fact, Base):
    """An aircraft: an identity of its own with its first registration; later ones are changes."""

    __tablename__ = "aircraft"

    registration: Mapped[str]
    msn: Mapped[str | None]
    aircraft_type: Mapped[int] = mapped_column(ForeignKey("aircraft_type.id"))
    base: Mapped[int | None] = mapped_column(ForeignKey("base.id"))
    weight_variant: Mapped[str | None]
    in_service_on: Mapped[dt.date | None]
    retires_on: Mapped[dt.date | None]


class AircraftChange(Fact, Base):
    """From a day on, another base, weight variant, registration or status."""

    __tablename__ = "aircraft_change"

    aircraft: Mapped[int] = mapped_column(ForeignKey("aircraft.id"), index=True)
    from_on: Mapped[dt.date]
    base: Mapped[int | None] = mapped_column(ForeignKey("base.id"))
    weight_variant: Mapped[str | None]
    new_registration: Mapped[str | None]
    status: Mapped[str | None] = mapped_column(words("status", *STATUSES))


key_of(BaseStation.base)
key_of(AircraftType.aircraft_type)
key_of(BrakeType.brake_type)
key_of(AircraftChange.aircraft, AircraftChange.from_on)
key_of(Aircraft.registration)
key_of(
    WearLimit.brake_type,
    WearLimit.weight_variant,
    WearLimit.position_group,
    WearLimit.convention,
    WearLimit.effective_on,
)
key_of(
    Effectivity.aircraft_type,
    Effectivity.aircraft,
    Effectivity.weight_variant,
    Effectivity.brake_type,
    Effectivity.position_group,
    Effectivity.from_on,
)
