"""Change-outs ahead: which brakes come due, when, how surely?"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request, Response

from api import words
from api.deps import AskedStudy
from api.figures.changeouts import acts_by_month
from api.pages.calendar import Bar, Calendar, bar_on, calendar_for
from api.pages.frame import Frame, Scope, render
from api.pages.navigation import CHANGEOUTS
from api.pages.origin import Origin
from api.pages.scope import frame_of, materials_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.forecast import ChangeOut

router = APIRouter()

ROWS_A_PAGE: Final = 60
RISKS: Final = ("0.1", "0.25", "0.5")
Risk = Literal["0.1", "0.25", "0.5"]
Order = Literal["due", "serial", "aircraft", "base", "pin"]


@dataclass(frozen=True)
class Line:
    """One brake of the list."""

    change: ChangeOut
    mark: str
    due_now: bool
    bar: Bar | None


@dataclass(frozen=True)
class ChangeOutsPage:
    """What changeouts.html receives."""

    frame: Frame
    answer: str
    more: tuple[str, ...]
    risk: float
    risks: tuple[str, ...]
    order: str
    lines: tuple[Line, ...]
    calendar: Calendar
    first_row: int
    total: int
    page: int
    pages: int
    origin: Origin
    chart: str


def due_now(change: ChangeOut) -> bool:
    """The limit is reached by now, as read or as forecast for certain."""
    return change.landings_p90 == 0
