"""
What stands beside the records so that a reading can be checked as it is typed.

No facts: all but `look_again` is made anew by the next study or correction.
"""

import datetime as dt

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base


class WearState(Base):
    """What the last study kept knew of the pin of each fitted brake, as of its last reading in the rate."""

    __tablename__ = "wear_state"

    brake: Mapped[int] = mapped_column(ForeignKey("brake.id"), primary_key=True, autoincrement=False)
    study: Mapped[str]
    since: Mapped[dt.date]
    left_mm: Mapped[float]
    left_var: Mapped[float]
    rate_mm: Mapped[float]
    rate_var: Mapped[float]
    both: Mapped[float]
    path_sd: Mapped[float]
    measurement_sd: Mapped[float]
    dof: Mapped[float]
    kind: Mapped[str]


class WearPrior(Base):
    """What the last study kept knew of the wear of each brake type; "" is a type that it did not know."""

    __tablename__ = "wear_prior"

    brake_type: Mapped[str] = mapped_column(primary_key=True)
    study: Mapped[str]
    rate_mm: Mapped[float]
    rate_var: Mapped[float]
    path_sd: Mapped[float]
    measurement_sd: Mapped[float]
    dof: Mapped[float]
    kind: Mapped[str]


class LookAgain(Base):
    """That somebody was asked to look at a pin again before its reading was saved, and what came of it."""

    __tablename__ = "look_again"

    reading: Mapped[int] = mapped_column(ForeignKey("pin_reading.id"), primary_key=True, autoincrement=False)
    pin: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    asked: Mapped[str]  # why, and what slip it looked like
    first: Mapped[str]  # as typed before looking again
    reason: Mapped[str]  # numbered, with the reader's own words
    changed: Mapped[bool]  # another value was typed the second time
    person: Mapped[str]
    asked_at: Mapped[str]


class DoubtedReading(Base):
    """An accepted reading that a later correction makes doubtful, until a second person has ruled on it."""

    __tablename__ = "doubted_reading"

    record: Mapped[int] = mapped_column(ForeignKey("pin_reading.id"), primary_key=True, autoincrement=False)
    correction: Mapped[int] = mapped_column(ForeignKey("change.seq"))
    why: Mapped[str]
