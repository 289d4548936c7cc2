"""What comes due first, and where: the planner's part of Today, with what waits for a planner."""

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import Engine

from api import words
from api.moved_since import moved_since
from api.pages.brake_types import types_of
from api.pages.brakes import record_link
from api.pages.changeouts import BEHIND, at_limit
from api.pages.frame import Frame
from api.pages.navigation import CHANGEOUTS, SPARES
from api.pages.origin import Origin, origin_of
from api.waiting import Item
from lifecycle import study as chain
from lifecycle.dragging import DraggingBrake
from lifecycle.forecast import ChangeOut
from lifecycle.study import Study

FIRST_ROWS: Final = 12
RISK: Final = "0.1"
LEAD: Final = "lead_time_days"
# Taken where no lead time is on record (ours, no source).
LEAD_DAYS: Final = 60.0
MOST_MONTHS: Final = 24


@dataclass(frozen=True)
class BaseDue:
    """How many brakes of one base come due by when."""

    base: str
    at_limit: int
    in_30_days: int
    in_90_days: int
    fitted: int


@dataclass(frozen=True)
class Due:
    """One brake of the list."""

    change: ChangeOut
    material: str
    limit_words: str
    record: str


@dataclass(frozen=True)
class Planning:
    """The planner's part: what waits, counts by base, and the brakes that come due first."""

    answer: str
    items: tuple[Item, ...]
    bases: tuple[BaseDue, ...]
    first: tuple[Due, ...]
    all_changeouts: str
    origin: Origin


def planning(frame: Frame, study: Study, engine: Engine, base: str) -> Planning:
    """What the page shows of these forecasts."""
    changes = chain.changeouts(study, base=base, risk=float(RISK))
    bases = by_base(changes, study.on)
    types = types_of(study)
    first = sorted(changes, key=lambda each: (not at_limit(each), each.date_at_risk or dt.date.max))
    return Planning(
        answer=answer(changes, bases),
        items=tuple(item for item in _items(frame, study, engine, base, changes) if item.count),
        bases=tuple(bases),
        first=tuple(
            Due(
                each,
                types.material(each.brake_type),
                types.limit_words(each.brake_type) if at_limit(each) else "",
                record_link(frame, each.serial, each.brake_type),
            )
            for each in first[:FIRST_ROWS]
        ),
        all_changeouts=frame.elsewhere(CHANGEOUTS.path),
        origin=origin_of(frame, study, "what comes first", kinds=BEHIND),
    )


def by_base(changes: Sequence[ChangeOut], on: dt.date) -> tuple[BaseDue, ...]:
    """Counts by base; those in 30 and 90 days leave out what is at its limit already."""
    by_name: dict[str, list[ChangeOut]] = defaultdict(list)
    for each in changes:
        by_name[each.base].append(each)
    return tuple(
        BaseDue(
            base=base,
            at_limit=sum(map(at_limit, here)),
            in_30_days=_within(here, on + dt.timedelta(days=30)),
            in_90_days=_within(here, on + dt.timedelta(days=90)),
            fitted=len(here),
        )
        for base, here in sorted(by_name.items())
    )


def answer(changes: Sequence[ChangeOut], bases: Sequence[BaseDue]) -> str:
    """What is at its limit, and the base where most comes due."""
    if not changes:
        return "No brakes are installed on record yet. Bring in records to begin."
    now = sum(each.at_limit for each in bases)
    soon = sum(each.in_30_days for each in bases)
    told = (
        f"{words.counted(now, 'brake')} at or below the limit now" if now else "No brake is at its limit now"
    )
    told += f"; {words.number(soon)}{' more' if now else ''} to act on within 30 days."
    busiest = max(bases, key=lambda each: each.at_limit + each.in_30_days)
    most = busiest.at_limit + busiest.in_30_days
    if len(bases) > 1 and most:
        told += f" Most at {busiest.base or 'no base'}: {words.number(most)}."
    return told


def _within(changes: Sequence[ChangeOut], end: dt.date) -> int:
    return sum(
        not at_limit(each) and each.date_at_risk is not None and each.date_at_risk <= end for each in changes
    )


def _items(
    frame: Frame, study: Study, engine: Engine, base: str, changes: tuple[ChangeOut, ...]
) -> Iterator[Item]:
    """Change-outs in the lead time, short stock, copied readings, brakes that drag, what moved since the last study."""
    early = [each for each in changes if not at_limit(each) and _in_lead_time(study, each)]
    assumed = any(study.assumptions.find(LEAD, brake_type=each.brake_type, base=each.base) for each in early)
    more = "" if assumed else f"no lead time is on record: {LEAD_DAYS:.0f} days are taken"
    one, many = (f"{what} P10 is inside the lead time" for what in ("brake whose", "brakes whose"))
    yield Item(len(early), one, many, frame.elsewhere(CHANGEOUTS.path), more)
    yield _short(frame, study, base)
    yield _copied(frame, study, changes)
    yield from _dragging(frame, chain.dragging(study, base))
    moved = moved_since(engine, study, changes)
    if moved:
        told = (
            f"since study {moved.study}; {moved.serial} by {words.counted(abs(moved.days), 'day')}"
            if moved.moved
            else ""
        )
        yield Item(
            moved.moved,
            "middle forecast moved",
            "middle forecasts moved",
            frame.elsewhere(CHANGEOUTS.path),
            told,
        )


def _copied(frame: Frame, study: Study, changes: Sequence[ChangeOut]) -> Item:
    """Brakes whose last readings only repeat an earlier one, by name; at the limit no reading helps any more."""
    runs = study.runs.runs[study.runs.runs["fitted"] & (study.fit.posterior["copied"] > 0)]
    copied = set(zip(runs["serial"], runs["brake_type"], strict=True))
    here = [each for each in changes if (each.serial, each.brake_type) in copied and not at_limit(each)]
    asked = "last readings are equal though wear was foretold: copied or unread? Read"
    return Item(
        len(here),
        f"brake whose {asked} it now",
        f"brakes whose {asked} them now",
        "",
        each=_named(frame, here),
    )


def _named(
    frame: Frame, brakes: Sequence[ChangeOut] | Sequence[DraggingBrake]
) -> tuple[tuple[str, str], ...]:
    """Each with its place and the way to its record."""
    return tuple(
        (
            f"{each.serial} on {each.registration}, position {each.position}",
            record_link(frame, each.serial, each.brake_type),
        )
        for each in brakes
    )


def _dragging(frame: Frame, drags: Sequence[DraggingBrake]) -> Iterator[Item]:
    """Brakes that have left their own past, a line for each side, with each of them by name."""
    for side in dict.fromkeys(each.side for each in drags):
        here = [each for each in drags if each.side == side]
        yield Item(
            len(here),
            f"brake wears {side} than its own past",
            f"brakes wear {side} than their own past",
            "",
            each=_named(frame, here),
        )


def _in_lead_time(study: Study, each: ChangeOut) -> bool:
    if each.date_p10 is None:
        return False
    return each.date_p10 <= study.on + dt.timedelta(days=_lead_days(study, each.brake_type, each.base))


def _lead_days(study: Study, brake_type: str, base: str) -> float:
    found = study.assumptions.find(LEAD, brake_type=brake_type, base=base)
    return found.value if found else LEAD_DAYS


def _short(frame: Frame, study: Study, base: str) -> Item:
    """Stock that demand outruns, at 9 in 10, within the lead time."""
    pairs = {(each["base"], each["brake_type"]) for each in study.records.stock.to_dict("records")}
    longest = max((_lead_days(study, kind, place) for place, kind in pairs), default=LEAD_DAYS)
    months = min(MOST_MONTHS, max(1, math.ceil(longest / 30)))
    short = sorted(
        {
            (each.base, each.brake_type)
            for each in chain.spares(study, months=months, base=base)
            if each.short
            and each.month <= study.on + dt.timedelta(days=_lead_days(study, each.brake_type, each.base))
        }
    )
    more = words.listed([f"{kind} at {place}" for place, kind in short[:3]]) if short else ""
    one, many = "stock short within the lead time", "stocks short within the lead time"
    return Item(len(short), one, many, frame.elsewhere(SPARES.path), more)
