"""What moved since the last study that was kept of earlier records: middle forecasts, brake by brake."""

import datetime as dt
import json
import zlib
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Engine

from api.moved import LANDINGS_TOLD
from db.session import Session, reading
from db.studies import kept_before
from lifecycle.forecast import ChangeOut
from lifecycle.study import Study


@dataclass(frozen=True)
class MovedSince:
    """The study compared with, how many middle forecasts moved, and the one that moved furthest by its day."""

    study: str
    on: dt.date
    moved: int
    serial: str
    days: int


def moved_since(engine: Engine, study: Study, changes: tuple[ChangeOut, ...]) -> MovedSince | None:
    """Compare with the last study kept of earlier records; None where there is none."""
    with Session(reading(engine)) as session:
        before = kept_before(session, study.number, on=study.on)
        if before is None:
            return None
        told = json.loads(zlib.decompress(before.results))["changeouts"]
    then = {_place(each): each for each in told}
    moved = [
        (_days(each, then[place]), each.serial)
        for each in changes
        if (place := (each.serial, each.brake_type, each.registration, each.position)) in then
        and _has_moved(each, then[place])
    ]
    days, serial = max(moved, key=lambda each: abs(each[0]), default=(0, ""))
    return MovedSince(before.number, before.on, len(moved), serial, days)


def _place(each: dict[str, Any]) -> tuple[str, str, str, str]:
    return each["serial"], each["brake_type"], each["registration"], each["position"]


def _has_moved(now: ChangeOut, then: dict[str, Any]) -> bool:
    """By its day where both have one: landings flown since would count as a move otherwise."""
    if now.date_p50 and then["date_p50"]:
        return _days(now, then) != 0
    one, other = now.landings_p50, then["landings_p50"]
    if one is None or other is None:
        return (one is None) != (other is None)
    return bool(abs(one - float(other)) >= LANDINGS_TOLD)


def _days(now: ChangeOut, then: dict[str, Any]) -> int:
    if not now.date_p50 or not then["date_p50"]:
        return 0
    return (now.date_p50 - dt.date.fromisoformat(then["date_p50"])).days
