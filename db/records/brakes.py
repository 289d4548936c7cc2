"""Brakes and where they were: installations, removals, re-shims, deactivations, shop visits, stock."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, Index, text
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base, Fact, key_of, words
from lifecycle.observations import REMOVAL_REASONS

STARTS = ("new", "overhauled", "refurbished", "same run", "unknown")
ARRANGEMENTS = ("owned", "loan", "pool", "exchange", "by the hour")
SHOP_WORK = (
    "overhaul",
    "refurbish",
    "repair",
    "re-shim",
    "modification",
    "test",
    "no fault found",
    "scrap",
)
CONDITIONS = ("serviceable", "unserviceable")


class Brake(Fact, Base):
    """One serial number of a brake type; serials may repeat between types."""

    __tablename__ = "brake"

    brake_type: Mapped[int] = mapped_column(ForeignKey("brake_type.id"), index=True)
    serial: Mapped[str] = mapped_column(index=True)
    owner: Mapped[str | None]
    arrangement: Mapped[str | None] = mapped_column(words("arrangement", *ARRANGEMENTS))
    landings_since_new: Mapped[int | None]
    landings_since_overhaul: Mapped[int | None]


class Installation(Fact, Base):
    """A brake goes on a position."""

    __tablename__ = "installation"

    brake: Mapped[int] = mapped_column(ForeignKey("brake.id"), index=True)
    aircraft: Mapped[int] = mapped_column(ForeignKey("aircraft.id"), index=True)
    position: Mapped[str]
    installed_on: Mapped[dt.date]
    starts_as: Mapped[str] = mapped_column(words("starts_as", *STARTS))
    start_pin_mm: Mapped[float | None]
    aircraft_landings: Mapped[int | None]
    release_reference: Mapped[str | None]


class Removal(Fact, Base):
    """A brake comes off, with a reason."""

    __tablename__ = "removal"

    installation: Mapped[int] = mapped_column(ForeignKey("installation.id"))
    removed_on: Mapped[dt.date]
    removal_reason: Mapped[str | None] = mapped_column(words("removal_reason", *REMOVAL_REASONS))
    aircraft_landings: Mapped[int | None]


class Occupancy(Base):
    """
    Where each brake is and was, by what is known now: a projection of installations and removals.

    The migration adds what no ORM can say the same way twice: an exclusion constraint on PostgreSQL and triggers on
    SQLite that refuse two brakes in one position and a brake in two places, back-dated moves included.
    """

    __tablename__ = "occupancy"
    __table_args__ = (CheckConstraint("to_on IS NULL OR to_on >= from_on", name="in_order"),)

    installation: Mapped[int] = mapped_column(
        ForeignKey("installation.id"), primary_key=True, autoincrement=False
    )
    brake: Mapped[int] = mapped_column(ForeignKey("brake.id"), index=True)
    aircraft: Mapped[int] = mapped_column(ForeignKey("aircraft.id"))
    position: Mapped[str]
    from_on: Mapped[dt.date]
    to_on: Mapped[dt.date | None]


class Reshim(Fact, Base):
    """Spacers restore pin stroke within a run."""

    __tablename__ = "reshim"

    brake: Mapped[int] = mapped_column(ForeignKey("brake.id"), index=True)
    day: Mapped[dt.date]
    step_mm: Mapped[float]
    step_sd_mm: Mapped[float | None]


class Deactivation(Fact, Base):
    """Installed and not braking."""

    __tablename__ = "deactivation"

    brake: Mapped[int] = mapped_column(ForeignKey("brake.id"), index=True)
    from_on: Mapped[dt.date]
    to_on: Mapped[dt.date | None]
    why: Mapped[str | None]


class ShopVisit(Fact, Base):
    """Sent to a shop, and back; under an exchange another serial comes back."""

    __tablename__ = "shop_visit"

    brake: Mapped[int] = mapped_column(ForeignKey("brake.id"), index=True)
    sent_on: Mapped[dt.date]
    back_on: Mapped[dt.date | None]
    brake_back: Mapped[int | None] = mapped_column(ForeignKey("brake.id"))
    work: Mapped[str] = mapped_column(words("work", *SHOP_WORK))
    cost: Mapped[float | None]
    currency: Mapped[str | None]


class StockMovement(Fact, Base):
    """A brake is put into the stock of a base, in the condition it is in."""

    __tablename__ = "stock_movement"

    brake: Mapped[int] = mapped_column(ForeignKey("brake.id"), index=True)
    base: Mapped[int] = mapped_column(ForeignKey("base.id"))
    day: Mapped[dt.date]
    condition: Mapped[str] = mapped_column(words("condition", *CONDITIONS))


OPEN = text("to_on IS NULL")

Index("ix_occupancy_position", Occupancy.aircraft, Occupancy.position, Occupancy.from_on)
Index(
    "uq_occupancy_one_brake_a_position",
    Occupancy.aircraft,
    Occupancy.position,
    unique=True,
    sqlite_where=OPEN,
    postgresql_where=OPEN,
)
Index(
    "uq_occupancy_one_position_a_brake",
    Occupancy.brake,
    unique=True,
    sqlite_where=OPEN,
    postgresql_where=OPEN,
)
key_of(Brake.brake_type, Brake.serial)
key_of(Installation.brake, Installation.installed_on)
key_of(Removal.installation)
key_of(Reshim.brake, Reshim.day)
key_of(Deactivation.brake, Deactivation.from_on)
key_of(ShopVisit.brake, ShopVisit.sent_on)
key_of(StockMovement.brake, StockMovement.day)
