"""The wear limit of each brake of an aircraft on a day, and whether a reading is at or past it, in exact lengths."""

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from api.pages.brake_types import Types
from db.limits_on import limit_records
from db.pin_history import BrakePins, ReadPins
from db.read_at import readings_at
from lifecycle.conventions import left_offset_nm, left_sign, whole_nm
from lifecycle.limits import limits_in_force


@dataclass(frozen=True)
class BrakeLimit:
    """
    The limit of one brake, as length left where it can be told so.

    `words` is what stands in the row of a brake at or below it; `left_nm` is NaN where no limit is known or it cannot
    be compared, and `missing` says why.
    """

    words: str
    convention: str
    limit_nm: float
    left_nm: float
    allowed: bool
    missing: str = ""

    def reached(self, convention: str, pin_nm: float, left_nm: float) -> bool:
        """Whether a length is at or past the limit; in its own convention where that is the limit's."""
        if convention == self.convention:
            sign = 1.0 if convention == "left" else -1.0
            here, limit = sign * pin_nm, sign * self.limit_nm
        else:
            here, limit = left_nm, self.left_nm
        return bool(here < limit or (here == limit and not self.allowed))


@dataclass(frozen=True)
class Scale:
    """How lengths of one convention turn into length left for one brake: left = sign * length + offset."""

    sign: float
    offset_nm: float

    def left_nm(self, pin_nm: float) -> float:
        """Length left, NaN where the new length that it takes is not on record."""
        return self.sign * pin_nm + self.offset_nm


def scale_of(pins: BrakePins, convention: str) -> Scale:
    """How lengths typed for this brake turn into length left."""
    told = np.array([convention], dtype=object)
    new = [whole_nm(np.array([np.nan if mm is None else mm])) for mm in (pins.new_pin_mm, pins.new_gap_mm)]
    return Scale(float(left_sign(told)[0]), float(left_offset_nm(told, *new)[0]))


def limits_of(session: Session, pins: Sequence[BrakePins], *, on: dt.date) -> dict[int, BrakeLimit]:
    """Return the limit of each brake, by its record number."""
    fitted = [each for each in pins if each.brake]
    limits = _limits(session, fitted, [on] * len(fitted), on=on)
    return {each.brake: limit for each, limit in zip(fitted, limits, strict=True)}


def _limits(
    session: Session, pins: Sequence[BrakePins], days: Sequence[dt.date], *, on: dt.date
) -> list[BrakeLimit]:
    """Return the limit of each of these brakes on the day beside it, of those that count on a day."""
    if not pins:
        return []
    records, types = limit_records(session, on=on)
    asked = pd.DataFrame(
        {
            "brake_type": [each.brake_type for each in pins],
            "weight_variant": [each.weight_variant for each in pins],
            "position_group": [each.group for each in pins],
            "day": pd.Series([pd.Timestamp(day) for day in days]),
        }
    )
    found = limits_in_force(records, asked)
    words = Types({}, types)
    rows = found[["convention", "limit_nm", "at_limit", "warning"]].itertuples(index=False, name=None)
    return [
        BrakeLimit(
            words.limit_words(each.brake_type),
            convention,
            limit_nm,
            scale_of(each, convention).left_nm(limit_nm) if convention else np.nan,
            at_limit == "allowed",
            warning,
        )
        for each, (convention, limit_nm, at_limit, warning) in zip(pins, rows, strict=True)
    ]


def is_due(pins: BrakePins, limit: BrakeLimit) -> bool:
    """Whether a reading on record has it at or past its limit: a held one until ruled on, others until cleared."""
    for read in (*reversed(pins.same_day), *pins.readings):
        low = _low(pins, limit, read)
        if low and (read.state == "held" or not read.usable):
            return True
        if read.usable:
            return low or any(
                each.state == "held" and _low(pins, limit, each) for each in (*pins.same_day, *pins.readings)
            )
    return False


def limit_words_of(session: Session, readings: Collection[int], *, on: dt.date) -> dict[int, str]:
    """Return what stands beside those of these readings, by record number, that are at or past the limit."""
    found = readings_at(session, readings)
    limits = _limits(session, [each.pins for each in found], [each.read.day for each in found], on=on)
    return {
        each.read.record: limit.words
        for each, limit in zip(found, limits, strict=True)
        if _low(each.pins, limit, each.read)
    }


def _low(pins: BrakePins, limit: BrakeLimit, read: ReadPins) -> bool:
    if read.within_limit == "no":
        return True
    if read.pin_nm < 0:
        return False
    return limit.reached(read.convention, read.pin_nm, scale_of(pins, read.convention).left_nm(read.pin_nm))
