"""Change-outs ahead: which brakes come due, when, and how surely."""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, Field

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.changeouts import acts_by_month
from api.pages.brake_types import Types, types_of
from api.pages.brakes import record_link
from api.pages.calendar import Bar, Calendar, bar_on, calendar_for, month_after
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import CHANGEOUTS
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.forecast import ChangeOut
from lifecycle.study import Study

router = APIRouter(dependencies=[need("records.read")])

ROWS_A_PAGE: Final = 60
CHART_MONTHS: Final = 24
BEHIND: Final = ("pin_readings", "installations", "landings", "wear_limits", "flying_plan")
RISKS: Final = {"0.1": "1 in 10", "0.25": "1 in 4", "0.5": "1 in 2"}

Order = Literal["due", "serial", "aircraft", "base", "pin"]
FAR: Final = dt.date.max
ORDERS: Final[Mapping[Order, Callable[[ChangeOut], tuple[object, ...]]]] = {
    "due": lambda each: (not at_limit(each), each.date_at_risk or FAR, each.date_p50 or FAR),
    "serial": lambda each: (each.serial, each.brake_type),
    "aircraft": lambda each: (each.registration, each.position),
    "base": lambda each: (each.base, each.date_at_risk or FAR),
    "pin": lambda each: (each.pin_mm is None, each.pin_mm),
}


class Asked(BaseModel):
    """What the page is asked: a base or all, the chance to act before, the order, and which page of rows."""

    base: str = ""
    risk: Literal["0.1", "0.25", "0.5"] = "0.1"
    order: Order = "due"
    page: int = Field(default=1, ge=1)


AskedQuery = Annotated[Asked, Query()]


@dataclass(frozen=True)
class Line:
    """One brake of the list; `bar` is None where no day can be given."""

    change: ChangeOut
    material: str
    limit_words: str
    bar: Bar | None
    record: str


@dataclass(frozen=True)
class ChangeOutsPage:
    """What changeouts.html receives."""

    frame: Frame
    answer: str
    risk: str
    risks: Mapping[str, str]
    order: str
    lines: tuple[Line, ...]
    calendar: Calendar
    total: int
    first_row: int
    page: int
    pages: int
    origin: Origin
    charts: str


@router.get(CHANGEOUTS.path)
def changeouts(request: Request, study: AskedStudy, form: AskedForm, asked: AskedQuery) -> Response:
    """The page, or its whole table as a file."""
    changes = sorted(chain.changeouts(study, asked.base, float(asked.risk)), key=ORDERS[asked.order])
    if form:
        return download(changes, name="change-outs", form=form, head=study.ledger_head)
    frame = frame_of(request, CHANGEOUTS, study, asked.base)
    return render("changeouts.html", page_of(frame, study, changes, asked))


@router.get(f"{CHANGEOUTS.path}/figures.json")
def figures(study: AskedStudy, asked: AskedQuery) -> Response:
    """Brakes to act on by month."""
    changes = chain.changeouts(study, asked.base, float(asked.risk))
    months = [month_after(study.on.replace(day=1), index) for index in range(CHART_MONTHS)]
    acts = [(each, each.date_at_risk) for each in changes if each.date_at_risk]
    return figures_answer({"months": acts_by_month(acts, months)})


def page_of(frame: Frame, study: Study, changes: Sequence[ChangeOut], asked: Asked) -> ChangeOutsPage:
    """What the template shows of these forecasts: one page of rows, and a calendar that holds them."""
    first = (asked.page - 1) * ROWS_A_PAGE
    shown = changes[first : first + ROWS_A_PAGE]
    types = types_of(study)
    calendar = calendar_for(study.on, max((each.date_p90 for each in shown if each.date_p90), default=None))
    return ChangeOutsPage(
        frame=frame,
        answer=answer(changes, study.on, asked.risk),
        risk=asked.risk,
        risks=RISKS,
        order=asked.order,
        lines=tuple(_line(each, calendar, frame, types) for each in shown),
        calendar=calendar,
        total=len(changes),
        first_row=first + 1,
        page=asked.page,
        pages=max(1, -(-len(changes) // ROWS_A_PAGE)),
        origin=origin_of(frame, study, "change-outs ahead", kinds=BEHIND),
        charts=frame.link(f"{CHANGEOUTS.path}/figures.json", page="", order=""),
    )


def answer(changes: Sequence[ChangeOut], on: dt.date, risk: str) -> str:
    """How many are due now, how many in the next month and quarter, and which comes first."""
    if not changes:
        return "No brakes are installed on record here."
    due = sum(map(at_limit, changes))
    waiting = sorted(filter(_dated, changes), key=ORDERS["due"])
    month, quarter = (on + dt.timedelta(days) for days in (30, 90))
    soon, later = (sum((each.date_at_risk or FAR) <= end for each in waiting) for end in (month, quarter))
    now = f"{words.counted(due, 'brake')} at or below the limit" if due else "No brake is at its limit"
    told = (
        f"{now} now. Acting before {RISKS[risk]}: {words.counted(soon, 'brake')} by {words.day(month)} "
        f"and {words.number(later - soon)} after that by {words.day(quarter)}."
    )
    if waiting:
        first = waiting[0]
        when = "now" if first.date_at_risk == on else f"by {words.day(first.date_at_risk)}"
        told += f" Next: {first.serial} on {first.registration}, position {first.position}, {when}."
    return told


def _dated(change: ChangeOut) -> bool:
    return change.date_at_risk is not None and not at_limit(change)


def at_limit(change: ChangeOut) -> bool:
    """Due by a reading: its governing pin has been read at or below the limit."""
    return change.kind == "observed"


def _line(each: ChangeOut, calendar: Calendar, frame: Frame, types: Types) -> Line:
    days = (each.date_p10, each.date_p50, each.date_p90, each.date_at_risk)
    known = [day for day in days if day is not None]
    return Line(
        change=each,
        material=types.material(each.brake_type),
        limit_words=types.limit_words(each.brake_type) if at_limit(each) else "",
        bar=bar_on(calendar, *known) if len(known) == len(days) else None,
        record=record_link(frame, each.serial, each.brake_type),
    )
