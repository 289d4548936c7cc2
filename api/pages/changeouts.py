"""Change-outs ahead: which brakes come due, when, how surely?"""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request, Response

from api import words
from api.deps import AskedStudy
from api.figures.changeouts import acts_by_month
from api.pages.calendar import Bar, Calendar, bar_on, calendar_for, month_after
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import CHANGEOUTS
from api.pages.origin import Origin
from api.pages.brakes import record_link
from api.pages.brake_types import Types, types_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.forecast import ChangeOut

router = APIRouter()

ROWS_A_PAGE: Final = 60
CHART_MONTHS: Final = 24
RISKS: Final = {"0.1": "1 in 10", "0.25": "1 in 4", "0.5": "1 in 2"}

Risk = Annotated[Literal["0.1", "0.25", "0.5"], Query(description="chance of passing the limit to act before")]
Order = Literal["due", "serial", "aircraft", "base", "pin"]
FAR: Final = dt.date.max
ORDERS: Final[Mapping[Order, Callable[[ChangeOut], tuple[object, ...]]]] = {
    "due": lambda each: (each.date_at_risk or FAR, each.date_p50 or FAR),
    "serial": lambda each: (each.serial, each.brake_type),
    "aircraft": lambda each: (each.registration, each.position),
    "base": lambda each: (each.base, each.date_at_risk or FAR),
    "pin": lambda each: (each.pin_mm is None, each.pin_mm),
}


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
def changeouts(
    request: Request,
    study: AskedStudy,
    base: str = "",
    risk: Risk = "0.1",
    order: Order = "due",
    page: Annotated[int, Query(ge=1)] = 1,
    form: AskedForm = None,
) -> Response:
    """The page, or its whole table as a file."""
    changes = sorted(chain.changeouts(study, base=base, risk=float(risk)), key=ORDERS[order])
    if form:
        return download(changes, name="change-outs", form=form)
    frame = frame_of(request, CHANGEOUTS, study, base)
    return render("changeouts.html", page_of(frame, changes, types_of(study), risk=risk, order=order, page=page))


@router.get(f"{CHANGEOUTS.path}/figures.json")
def figures(study: AskedStudy, base: str = "", risk: Risk = "0.1") -> Response:
    """Brakes to act on by month."""
    changes = chain.changeouts(study, base=base, risk=float(risk))
    months = [month_after(study.on.replace(day=1), index) for index in range(CHART_MONTHS)]
    acts = [(each, each.date_at_risk) for each in changes if each.date_at_risk]
    return figures_answer({"months": acts_by_month(acts, months)})


def page_of(
    frame: Frame, changes: Sequence[ChangeOut], types: Types, *, risk: str, order: str, page: int
) -> ChangeOutsPage:
    """What the template shows of these forecasts: one page of rows, and a calendar that holds them."""
    first = (page - 1) * ROWS_A_PAGE
    shown = changes[first : first + ROWS_A_PAGE]
    on = frame.told_scope.on
    calendar = calendar_for(on, max((each.date_p90 for each in shown if each.date_p90), default=None))
    return ChangeOutsPage(
        frame=frame,
        answer=answer(changes, on, risk),
        risk=risk,
        risks=RISKS,
        order=order,
        lines=tuple(_line(each, calendar, frame, types) for each in shown),
        calendar=calendar,
        total=len(changes),
        first_row=first + 1,
        page=page,
        pages=max(1, -(-len(changes) // ROWS_A_PAGE)),
        origin=origin_of(frame, risk),
        charts=frame.link(f"{CHANGEOUTS.path}/figures.json", page="", order=""),
    )


def answer(changes: Sequence[ChangeOut], on: dt.date, risk: str) -> str:
    """How many are due now, how many in the next month and quarter, and which comes first."""
    if not changes:
        return "No brakes are installed on record here."
    due = [each for each in changes if at_limit(each)]
    waiting = sorted((each for each in changes if each.date_at_risk and not at_limit(each)), key=ORDERS["due"])
    month, quarter = (on + dt.timedelta(days) for days in (30, 90))
    within = [sum(each.date_at_risk <= end for each in waiting if each.date_at_risk) for end in (month, quarter)]
    told = f"{words.counted(len(due), 'brake')} at or below the limit now." if due else "No brake is at its limit now."
    told += (
        f" Acting before {RISKS[risk]}, {words.counted(within[0], 'brake')} more by {words.day(month)} and "
        f"{words.number(within[1] - within[0])} after that by {words.day(quarter)}."
    )
    if waiting:
        first = waiting[0]
        when = "now" if first.date_at_risk == on else f"by {words.day(first.date_at_risk)}"
        told += f" First of these: {first.serial} on {first.registration}, position {first.position}, {when}."
    return told


def at_limit(change: ChangeOut) -> bool:
    """Due by a reading: its governing pin has been read at or below the limit."""
    return change.kind == "observed"


def _line(each: ChangeOut, calendar: Calendar, frame: Frame, types: Types) -> Line:
    known = each.date_p10 and each.date_p50 and each.date_p90 and each.date_at_risk
    return Line(
        change=each,
        material=types.material(each.brake_type),
        limit_words=types.limit_words(each.brake_type) if at_limit(each) else "",
        bar=bar_on(calendar, each.date_p10, each.date_p50, each.date_p90, each.date_at_risk) if known else None,
        record=record_link(frame, each.serial, each.brake_type),
    )


def origin_of(frame: Frame, risk: str) -> Origin:
    """How the dates are worked out."""
    return Origin(
        what="change-outs ahead",
        formula=(
            "Landings left: the wear that is left, and a wear rate known only so well, give the chance that the wear path "
            "has crossed the limit after so many braked landings, given that it had not on the last day on record. P10, "
            "P50 and P90 are where that chance is 1, 5 and 9 in 10.",
            "Dates: those landings laid on the landings expected of the aircraft, month by month with their season, or on "
            "the flying plan where there is one; flying itself is uncertain and widens the range.",
            f"Act before: the day on which the chance to have reached the limit is {RISKS[risk]}.",
            "Observed: due by a reading. Estimated: the brake's own readings are used. Assumed: no usable reading of its "
            "own, so what its type does is taken.",
        ),
        records="The brake record of each row lists its pin readings and installations by number.",
        scope=frame.told_scope,
    )
