"""Readings due: by when each brake should be read again, so that few pass their limit unread."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, Field

from api import words
from api.access import need
from api.deps import AskedStudy
from api.pages.brakes import record_link
from api.pages.frame import Frame, render
from api.pages.navigation import READINGS_DUE
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.assumptions import Assumption
from lifecycle.next_look import NAME, START_VALUE, NextLook
from lifecycle.study import Study

router = APIRouter(dependencies=[need("records.read")])

ROWS_A_PAGE: Final = 40
BEHIND: Final = ("pin_readings", "installations", "landings", "wear_limits", "flying_plan")
AS_ASSUMED: Final = ""
LEVELS: Final = {
    AS_ASSUMED: "as assumed",
    "0.1": "1 in 10",
    "0.05": "1 in 20",
    "0.02": "1 in 50",
    "0.01": "1 in 100",
}
WHY: Final = {
    "at limit": "read at or below its limit",
    "copied": "its last readings are equal though wear was foretold: copied or unread? read it now",
    "now": "the chance is past it already",
    "wear": "",
    "once a year": "once a year; by wear it could wait longer",
    "no limit": "no wear limit on record: no day",
}


class Asked(BaseModel):
    """What the page is asked: a base or all, the chance to stay under, and which page of rows."""

    base: str = ""
    level: Literal["", "0.1", "0.05", "0.02", "0.01"] = AS_ASSUMED
    page: int = Field(default=1, ge=1)

    @property
    def chance(self) -> float | None:
        """The chance as a number; None where it is the one assumed."""
        return float(self.level) if self.level else None


AskedQuery = Annotated[Asked, Query()]


@dataclass(frozen=True)
class BrakeLine:
    """One brake of an aircraft: its day, why, and where its record stands."""

    look: NextLook
    day: str
    why: str
    record: str


@dataclass(frozen=True)
class SameDay:
    """Further positions of an aircraft that have one day in common."""

    positions: tuple[str, ...]
    day: str


@dataclass(frozen=True)
class AircraftLine:
    """One aircraft: the earliest of its brakes' days, the brake that makes it, and the others."""

    registration: str
    base: str
    latest_on: dt.date | None
    first: BrakeLine
    others: tuple[SameDay, ...]


@dataclass(frozen=True)
class ReadingsDuePage:
    """What readings_due.html receives."""

    frame: Frame
    answer: str
    more: str
    level: str
    levels: Mapping[str, str]
    start_value: Assumption | None
    lines: tuple[AircraftLine, ...]
    first_row: int
    total: int
    page: int
    pages: int
    origin: Origin


@router.get(READINGS_DUE.path)
def readings_due(request: Request, study: AskedStudy, form: AskedForm, asked: AskedQuery) -> Response:
    """The page by aircraft, or all brakes as a file."""
    looks = chain.next_looks(study, asked.base, asked.chance)
    if form:
        return download(looks, name="readings-due", form=form, head=study.ledger_head)
    return render(
        "readings_due.html", page_of(frame_of(request, READINGS_DUE, study, asked.base), study, looks, asked)
    )


def page_of(frame: Frame, study: Study, looks: Sequence[NextLook], asked: Asked) -> ReadingsDuePage:
    """What the template shows of these days: one page of aircraft."""
    lines = lines_of(frame, looks, study.on)
    first = (asked.page - 1) * ROWS_A_PAGE
    entered = any(each.name == NAME for each in study.assumptions.items)
    return ReadingsDuePage(
        frame=frame,
        answer=answer(lines, study.on),
        more=at_limit(looks),
        level=asked.level,
        levels=LEVELS,
        start_value=START_VALUE if asked.chance is None and not entered else None,
        lines=lines[first : first + ROWS_A_PAGE],
        first_row=first + 1,
        total=len(lines),
        page=asked.page,
        pages=max(1, -(-len(lines) // ROWS_A_PAGE)),
        origin=origin_of(frame, study, "readings due", kinds=BEHIND, assumptions=(NAME,)),
    )


def lines_of(frame: Frame, looks: Sequence[NextLook], on: dt.date) -> tuple[AircraftLine, ...]:
    """The brakes of each aircraft together, in the order that they come in."""
    made = []
    for registration, group in groupby(looks, key=lambda each: each.registration):
        own = [_line(frame, on, each) for each in group]
        look = own[0].look
        others = tuple(
            SameDay(tuple(each.look.position for each in alike), day)
            for day, alike in groupby(own[1:], key=lambda each: each.day)
        )
        made.append(AircraftLine(registration, look.base, look.aircraft_latest_on, own[0], others))
    return tuple(made)


def _line(frame: Frame, on: dt.date, look: NextLook) -> BrakeLine:
    day = "now" if look.latest_on == on else words.iso(look.latest_on) or "no day"
    return BrakeLine(look, day, WHY[look.why], record_link(frame, look.serial, look.brake_type))


def answer(lines: Sequence[AircraftLine], on: dt.date) -> str:
    """How many aircraft are to be read now, in a fortnight and in a month."""
    if not lines:
        return "No brakes are installed on record here."
    days = [each.latest_on for each in lines if each.latest_on is not None]
    fortnight, month = on + dt.timedelta(days=14), on + dt.timedelta(days=30)
    now = sum(day <= on for day in days)
    soon = sum(on < day <= fortnight for day in days)
    later = sum(fortnight < day <= month for day in days)
    craft = words.counted(now, "aircraft", "aircraft")
    return (
        f"{craft if now else 'No aircraft'} to be read now, {words.number(soon)} more by {words.day(fortnight)}, "
        f"{words.number(later)} after that by {words.day(month)}."
    )


def at_limit(looks: Sequence[NextLook]) -> str:
    """Brakes that no reading helps any more."""
    due = sum(each.why == "at limit" for each in looks)
    if not due:
        return ""
    has = "has" if due == 1 else "have"
    return (
        f"{words.counted(due, 'brake')} {has} been read at or below the limit already: see Change-outs ahead."
    )
