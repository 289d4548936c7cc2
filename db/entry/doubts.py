"""
Readings that nobody should trust unseen: grown without a reason, or slipped by a factor that hands slip by.

A doubtful reading is kept and held for a second person. What it looks like is said, a value is never offered.
"""

from bisect import bisect_right
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy import Date, func
from sqlalchemy.orm import Session

from db.entry.flown import landings_at_most
from db.frames import frame_of
from db.lookup import among, current
from db.records.brakes import Installation, Reshim, ShopVisit

# Two readings of one pin differ by gauge and hand; beyond this a pin has grown (common practice, no source).
GROWTH_NM: Final = 1_000_000
# Near enough to the reading before to take a slipped value for it, as a share of the length when new.
NEAR: Final = 0.12
NEAR_NM: Final = 6_000_000
# More than five thousandths of an inch a landing is not known of any airliner's brake (common practice, no source).
WEAR_MAX_NM: Final = 127_000
SLIPS: Final = (
    (10.0, ("mm", "in"), "looks like a slip of the decimal point (ten times too small)"),
    (0.1, ("mm", "in"), "looks like a slip of the decimal point (ten times too large)"),
    (100.0, ("mm", "in"), "looks like a slip of the decimal point (a hundred times too small)"),
    (0.01, ("mm", "in"), "looks like a slip of the decimal point (a hundred times too large)"),
    (25.4, ("mm",), "looks like inches written as millimetres"),
    (1 / 25.4, ("in",), "looks like millimetres written as inches"),
)
GROWN: Final = "is longer than the reading before, and no re-shim or new run is on record"
GROWN_NEW: Final = "is about as long as when new, but no overhaul or re-shim is on record"
WORN: Final = "is shorter than the landings since the reading before can have worn it"
LATE: Final = "is shorter than the next reading, and no re-shim or new run is on record"
JUST_AFTER: Final = 0.5  # of a day
LOOK_AGAIN: Final = "; look at the sheet or the pin again"
RUN_BEGINS: Final = ("new", "overhauled", "refurbished", "unknown")
RENEWED: Final = ("new", "overhauled", "refurbished")


@dataclass(frozen=True)
class Doubt:
    """Why a reading is held; `slip` if a slip of the hand would explain it."""

    text: str
    slip: bool


def on_one_scale(readings: pd.DataFrame) -> pd.DataFrame:
    """
    Add `left_nm`, `sign` and `scale`: lengths that can be compared are on one scale.

    left = pin = new pin - used = new pin - (gap - new gap); where the new lengths are not known, gap and used are
    turned round and compared among themselves.
    """
    new_pin, new_gap = readings["new_pin_mm"] * 1e6, readings["new_gap_mm"] * 1e6
    convention = readings["convention"]
    offset = new_pin.where(convention == "used", new_pin + new_gap).mask(convention == "left", 0.0)
    sign = pd.Series(np.where(convention == "left", 1.0, -1.0), index=readings.index)
    left = (sign * readings["pin_nm"] + offset.fillna(0.0)).where(readings["pin_nm"] >= 0)
    scale = convention.where(offset.isna(), "left")
    return readings.assign(
        left_nm=left, sign=sign, offset_nm=offset.fillna(0.0), scale=scale, since=readings["day"]
    )


def doubts(session: Session, readings: pd.DataFrame) -> dict[int, Doubt]:
    """
    Say which new readings are doubtful, by row, and why.

    `readings` are those of the brakes in question, on record (row 0, accepted ones) and new, on one scale; hot or
    released ones left out. In each round the first doubtful reading of each brake steps aside, so that it makes none
    of its followers look odd.
    """
    begins = run_beginnings(session, readings["brake"].unique().tolist())
    renewed: dict[int, list[int]] = {}
    for brake, day in zip(begins["brake"].tolist(), _day(begins["day"]), strict=True):
        renewed.setdefault(brake, []).append(day)
    found: dict[int, Doubt] = {}
    for line in _lines(session, readings, begins):
        begun = renewed.get(line[0].brake, [])
        while first := _first_doubt(line, begun):
            at, doubt = first
            found[line.pop(at).row] = doubt
    return found


def run_beginnings(session: Session, brakes: list[int]) -> pd.DataFrame:
    """Days on which a brake's pin may rightly be longer than before: brake, day, starts_as, start_pin_mm."""
    install, shop = Installation, ShopVisit
    on = (install.brake, install.installed_on.label("day"), install.starts_as, install.start_pin_mm)
    installed = current(install).where(among(install.brake, brakes), install.starts_as.in_(RUN_BEGINS))
    shimmed = current(Reshim).where(among(Reshim.brake, brakes))
    sent = current(shop).where(among(shop.brake, brakes))
    back = func.coalesce(shop.back_on, shop.sent_on, type_=Date).label("day")
    parts = [
        frame_of(session, installed.with_only_columns(*on)),
        frame_of(session, shimmed.with_only_columns(Reshim.brake, Reshim.day)),
        frame_of(session, sent.with_only_columns(shop.brake, back)),
    ]
    return pd.concat(parts, ignore_index=True).sort_values("day").astype({"brake": "int64"})


@dataclass(frozen=True, slots=True)
class _Read:
    """A reading in the line of its brake, or (row 0) the length at the start of a run; days since 1970."""

    brake: int
    scale: str
    day: int
    row: int
    since: float
    left_nm: float
    resolution_nm: float
    pin_nm: float = np.nan
    sign: float = 1.0
    offset_nm: float = 0.0
    unit: str = ""
    new_pin_mm: float = np.nan
    landings: float = 0.0


def _lines(session: Session, readings: pd.DataFrame, begins: pd.DataFrame) -> list[list[_Read]]:
    """Return the readings of each brake and scale in the order of their days, with the landings up to each."""
    days = _day(readings["day"])
    own = [field.name for field in fields(_Read) if field.name not in ("day", "since", "landings")]
    columns = zip(*(readings[name].tolist() for name in own), strict=True)
    read = [
        _Read(day=day, since=day, **dict(zip(own, row, strict=True)))
        for day, row in zip(days, columns, strict=True)
    ]
    read += _begun(begins, read)
    on = np.array([each.day for each in read], dtype="datetime64[D]").astype("datetime64[s]")
    most = landings_at_most(session, pd.DataFrame({"brake": [each.brake for each in read], "day": on}))
    lines: dict[tuple[int, str], list[_Read]] = {}
    for each, landings in zip(read, most.tolist(), strict=True):
        lines.setdefault((each.brake, each.scale), []).append(replace(each, landings=landings))
    for line in lines.values():
        line.sort(key=lambda each: (each.day, each.row))
    return list(lines.values())


def _begun(begins: pd.DataFrame, read: list[_Read]) -> list[_Read]:
    """Return the length at the start of a run, known without a reading, as a reading just after it began."""
    new_pin: dict[int, float] = {}
    for each in read:
        new_pin.setdefault(each.brake, each.new_pin_mm)
    columns = (begins[name].tolist() for name in ("brake", "starts_as", "start_pin_mm"))
    lengths = [
        (brake, day, new_pin.get(brake, np.nan) if np.isnan(given) else given)
        for brake, starts_as, given, day in zip(*columns, _day(begins["day"]), strict=True)
        if starts_as in RENEWED
    ]
    return [
        _Read(brake, "left", day, 0, day + JUST_AFTER, length_mm * 1e6, 0.0)
        for brake, day, length_mm in lengths
        if not np.isnan(length_mm)
    ]


def _first_doubt(line: list[_Read], begun: list[int]) -> tuple[int, Doubt] | None:
    """Return the place of the first doubtful new reading of a brake and scale, and why it is."""
    for at, each in enumerate(line):
        before = line[at - 1] if at else None
        after = line[at + 1] if at + 1 < len(line) else None
        if each.row > 0 and (words := _doubt(each, before, after, begun)):
            return at, Doubt(words + LOOK_AGAIN, slip=words.startswith("looks like"))
    return None


def _doubt(each: _Read, before: _Read | None, after: _Read | None, begun: list[int]) -> str:
    """Say what is doubtful about a reading between its neighbours, "" where nothing is."""
    margin = GROWTH_NM + each.resolution_nm
    if before is not None and not _renewed(begun, before.since, each.day):
        grown = each.left_nm > before.left_nm + margin + before.resolution_nm
        can_have_worn = (each.landings - before.landings) * WEAR_MAX_NM + margin
        worn_out = before.left_nm - each.left_nm > can_have_worn
        if (grown or worn_out) and (slip := _slip(each, before.left_nm)):
            return slip
        if grown:
            near_new = abs(each.new_pin_mm * 1e6 - each.left_nm) <= GROWTH_NM
            return GROWN_NEW if near_new else GROWN
        if worn_out:
            return WORN
    # The next reading is longer, and would have been no surprise after the one before: this one is out of line.
    late = (
        after is not None
        and not _renewed(begun, each.day, after.day)
        and after.left_nm > each.left_nm + margin + after.resolution_nm
        and (after.row == 0 or (before is not None and after.left_nm <= before.left_nm + margin))
    )
    return LATE if late else ""


def _slip(each: _Read, before_nm: float) -> str:
    """Say what slip would explain a reading that cannot follow the one before; "" where none would."""
    near = NEAR_NM if np.isnan(each.new_pin_mm) else each.new_pin_mm * NEAR * 1e6
    margin = GROWTH_NM + each.resolution_nm
    for factor, units, words in SLIPS:
        slipped = each.sign * each.pin_nm * factor + each.offset_nm
        if each.unit in units and before_nm - near <= slipped <= before_nm + margin:
            return words
    return ""


def _renewed(begun: list[int], since: float, until: int) -> bool:
    """Whether the pin may have become longer between two days, both included."""
    later = bisect_right(begun, until)
    return later > 0 and begun[later - 1] >= since


def _day(days: "pd.Series[pd.Timestamp]") -> list[int]:
    found: list[int] = days.to_numpy().astype("datetime64[D]").astype(np.int64).tolist()
    return found
