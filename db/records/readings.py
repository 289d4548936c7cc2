"""What is observed: landings, pin readings, events, and the spans that are kept out of the fits."""

import datetime as dt
from typing import Final

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base, Fact, key_of, words
from db.records.fleet import CONVENTIONS, LENGTH_UNITS

EVENTS = ("rejected take-off", "overheat", "dragging", "anti-skid fault", "inspection")
YES_NO = ("yes", "no")
STATES = ("accepted", "held", "refused")


class Landing(Fact, Base):
    """A day of landings of one aircraft, or a period's total; blank is not reported, zero is zero."""

    __tablename__ = "landing"

    aircraft: Mapped[int] = mapped_column(ForeignKey("aircraft.id"))
    day: Mapped[dt.date]
    to_day: Mapped[dt.date | None]
    base: Mapped[int | None] = mapped_column(ForeignKey("base.id"))
    airfield: Mapped[str | None]
    full_stops: Mapped[int | None] = mapped_column(CheckConstraint("full_stops >= 0", name="full_stops"))
    touch_and_gos: Mapped[int | None] = mapped_column(
        CheckConstraint("touch_and_gos >= 0", name="touch_and_gos")
    )
    rejected_takeoffs: Mapped[int | None] = mapped_column(
        CheckConstraint("rejected_takeoffs >= 0", name="rejected_takeoffs")
    )
    flight_hours: Mapped[float | None] = mapped_column(
        CheckConstraint("flight_hours >= 0", name="flight_hours")
    )
    counter: Mapped[int] = mapped_column(default=1)  # which landings counter the running total was read from
    total_landings: Mapped[int | None] = mapped_column(
        CheckConstraint("total_landings >= 0", name="total_landings")
    )
    landing_mass_kg: Mapped[float | None]


class CounterChange(Fact, Base):
    """An aircraft's landings counter was replaced: from that day, running totals start anew."""

    __tablename__ = "counter_change"

    aircraft: Mapped[int] = mapped_column(ForeignKey("aircraft.id"), index=True)
    day: Mapped[dt.date]
    counter: Mapped[int]
    starts_at: Mapped[int]


# Between the reason that a person gave for a version and why it is held.
AND_HELD: Final = "; held: "


class PinReading(Fact, Base):
    """
    Pins as typed (joined by semicolons), and the governing one counted exactly; -1 for a check without a value.

    `reason` says why it was corrected, why it is held, or both.
    """

    __tablename__ = "pin_reading"

    brake: Mapped[int] = mapped_column(ForeignKey("brake.id"))
    day: Mapped[dt.date]
    pins: Mapped[str | None]
    unit: Mapped[str] = mapped_column(words("unit", *LENGTH_UNITS))
    convention: Mapped[str] = mapped_column(words("convention", *CONVENTIONS))
    pin_nm: Mapped[int]
    resolution_nm: Mapped[int]
    within_limit: Mapped[str | None] = mapped_column(words("within_limit", *YES_NO))
    brakes_applied: Mapped[str | None] = mapped_column(words("brakes_applied", *YES_NO))
    cold: Mapped[str | None] = mapped_column(words("cold", *YES_NO))
    reader: Mapped[str | None]
    occasion: Mapped[str | None]
    aircraft_landings: Mapped[int | None]
    state: Mapped[str] = mapped_column(words("state", *STATES))  # as entered; a ruling may follow


class Ruling(Fact, Base):
    """A second person's word on a held reading."""

    __tablename__ = "ruling"

    reading: Mapped[int] = mapped_column(ForeignKey("pin_reading.id"), index=True)
    state: Mapped[str] = mapped_column(words("state", *STATES))


class Event(Fact, Base):
    """Something that happened to an aircraft or to one of its brakes."""

    __tablename__ = "event"

    aircraft: Mapped[int] = mapped_column(ForeignKey("aircraft.id"), index=True)
    day: Mapped[dt.date]
    event: Mapped[str] = mapped_column(words("event", *EVENTS))
    position: Mapped[str | None]
    speed_kt: Mapped[float | None]
    mass_kg: Mapped[float | None]


class Exclusion(Fact, Base):
    """A span of known fault: out of the rate, its wear and landings still count."""

    __tablename__ = "exclusion"

    brake: Mapped[int | None] = mapped_column(ForeignKey("brake.id"), index=True)
    aircraft: Mapped[int | None] = mapped_column(ForeignKey("aircraft.id"), index=True)
    from_on: Mapped[dt.date]
    to_on: Mapped[dt.date]
    why: Mapped[str]


key_of(Landing.aircraft, Landing.day)
key_of(CounterChange.aircraft, CounterChange.day)
key_of(Ruling.reading)
Index("ix_landing_day", Landing.aircraft, Landing.day)
Index("ix_landing_total", Landing.aircraft, Landing.counter, Landing.day)
Index("ix_pin_reading_brake", PinReading.brake, PinReading.day)
key_of(Event.aircraft, Event.day, Event.event, Event.position)
key_of(Exclusion.brake, Exclusion.aircraft, Exclusion.from_on, Exclusion.why)
