"""Stock, orders, the flying plan, and what is taken as given."""

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base, Fact, key_of


class StockCount(Fact, Base):
    """Brakes counted on the shelf of a base."""

    __tablename__ = "stock"

    base: Mapped[int] = mapped_column(ForeignKey("base.id"))
    brake_type: Mapped[int] = mapped_column(ForeignKey("brake_type.id"))
    counted_on: Mapped[dt.date]
    serviceable: Mapped[int] = mapped_column(CheckConstraint("serviceable >= 0", name="serviceable"))
    unserviceable: Mapped[int | None]


class Order(Fact, Base):
    """Brakes ordered for a base."""

    __tablename__ = "purchase_order"

    base: Mapped[int] = mapped_column(ForeignKey("base.id"))
    brake_type: Mapped[int] = mapped_column(ForeignKey("brake_type.id"))
    quantity: Mapped[int] = mapped_column(CheckConstraint("quantity > 0", name="quantity"))
    ordered_on: Mapped[dt.date]
    due_on: Mapped[dt.date | None]


class FlyingPlan(Fact, Base):
    """Landings planned for an aircraft or a base in a month (its first day)."""

    __tablename__ = "flying_plan"

    aircraft: Mapped[int | None] = mapped_column(ForeignKey("aircraft.id"))
    base: Mapped[int | None] = mapped_column(ForeignKey("base.id"))
    month: Mapped[dt.date]
    landings: Mapped[float] = mapped_column(CheckConstraint("landings >= 0", name="landings"))
    flight_hours: Mapped[float | None]


class AssumptionEntry(Fact, Base):
    """A value taken as given, with unit, range, source and date; used once approved."""

    __tablename__ = "assumption"

    name: Mapped[str]
    aircraft_type: Mapped[int | None] = mapped_column(ForeignKey("aircraft_type.id"))
    brake_type: Mapped[int | None] = mapped_column(ForeignKey("brake_type.id"))
    base: Mapped[int | None] = mapped_column(ForeignKey("base.id"))
    value: Mapped[float]
    unit: Mapped[str]
    low: Mapped[float | None]
    high: Mapped[float | None]
    source: Mapped[str]
    dated: Mapped[dt.date]
    owner: Mapped[str | None]
    review_by: Mapped[dt.date | None]
    approved: Mapped[bool]


key_of(StockCount.base, StockCount.brake_type, StockCount.counted_on)
key_of(Order.base, Order.brake_type, Order.ordered_on, Order.work_order)
key_of(FlyingPlan.aircraft, FlyingPlan.base, FlyingPlan.month)
key_of(
    AssumptionEntry.name,
    AssumptionEntry.aircraft_type,
    AssumptionEntry.brake_type,
    AssumptionEntry.base,
    AssumptionEntry.dated,
)
