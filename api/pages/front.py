"""The front page: what comes due first, and where."""

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request, Response

from api import words
from api.access import need
from api.deps import AskedStudy
from api.pages.brake_types import types_of
from api.pages.brakes import record_link
from api.pages.changeouts import BEHIND, at_limit
from api.pages.frame import Frame, render
from api.pages.navigation import CHANGEOUTS, FRONT
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.forecast import ChangeOut
from lifecycle.study import Study

router = APIRouter(dependencies=[need("records.read")])

FIRST_ROWS: Final = 12
RISK: Final = "0.1"


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
class FrontPage:
    """What front.html receives."""

    frame: Frame
    answer: str
    bases: tuple[BaseDue, ...]
    first: tuple[Due, ...]
    all_changeouts: str
    origin: Origin


@router.get(FRONT.path)
def front(request: Request, study: AskedStudy, form: AskedForm, base: str = "") -> Response:
    """The page, or the counts by base as a file."""
    changes = chain.changeouts(study, base=base, risk=float(RISK))
    bases = by_base(changes, study.on)
    if form:
        return download(bases, name="due-by-base", form=form, head=study.ledger_head)
    return render("front.html", page_of(frame_of(request, FRONT, study, base), study, changes, bases))


def page_of(frame: Frame, study: Study, changes: Sequence[ChangeOut], bases: Sequence[BaseDue]) -> FrontPage:
    """What the template shows of these forecasts."""
    types = types_of(study)
    first = sorted(changes, key=lambda each: (not at_limit(each), each.date_at_risk or dt.date.max))[
        :FIRST_ROWS
    ]
    return FrontPage(
        frame=frame,
        answer=answer(changes, bases),
        bases=tuple(bases),
        first=tuple(
            Due(
                each,
                types.material(each.brake_type),
                types.limit_words(each.brake_type) if at_limit(each) else "",
                record_link(frame, each.serial, each.brake_type),
            )
            for each in first
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


def _within(changes: Sequence[ChangeOut], end: dt.date) -> int:
    return sum(
        not at_limit(each) and each.date_at_risk is not None and each.date_at_risk <= end for each in changes
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
