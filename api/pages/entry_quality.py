"""Entry quality: what was asked, corrected, left waiting; and sheets typed a second time by another person."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, OutsideBaseError, need, within
from api.errors import Problem, problem_of
from api.pages.frame import Frame, render
from api.pages.navigation import ENTRY_QUALITY
from api.second_typing import SecondTyping, named, refuse_unreadable, second_typing, typed_before
from api.waiting import link_to
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.entry.sheets import keep_check
from db.entry_quality import TYPED_TWICE, Checked, EntryQuality, check_of, entry_quality
from db.errors import LedgerError
from db.session import reading
from db.sessions import LetIn as Person
from db.sheets import IssuedSheet, sheet_by_code

router = APIRouter(dependencies=[need("records.enter")])

WINDOW: Final = dt.timedelta(days=90)

Typed = Annotated[dict[str, str], Depends(form_of)]


@dataclass(frozen=True)
class QualityPage:
    """What entry_quality.html receives: the counts, and sheets of this person's bases with where they are typed."""

    frame: Frame
    counts: EntryQuality
    to_check: tuple[IssuedSheet, ...]
    waiting: tuple[tuple[IssuedSheet, str], ...]
    own: str


@dataclass(frozen=True)
class CheckPage:
    """
    What second_typing.html receives; `checked` once it was typed, `again` with what differs as it is now.

    `another`: this person typed it first, so that another types it a second time.
    """

    frame: Frame
    sheet: IssuedSheet
    named: str
    again: SecondTyping
    checked: Checked | None
    problem: Problem | None
    another: bool = False


@router.get(ENTRY_QUALITY.path)
def quality_page(request: Request, person: LetIn) -> Response:
    """The counts of the last 90 days, and what is to be typed a second time."""
    with Session(reading(request.app.state.engine)) as session:
        counts = entry_quality(session, since=today() - WINDOW)
    waiting = tuple((sheet, link_to(sheet)) for sheet in counts.waiting if within(person, sheet.base))
    drawn = tuple(sheet for sheet in counts.to_check if within(person, sheet.base))
    return render("entry_quality.html", QualityPage(_frame(), counts, drawn, waiting, person.name))


@router.get(f"{ENTRY_QUALITY.path}/{{code}}")
def type_again(request: Request, code: str, person: LetIn) -> Response:
    """The empty sheet to type from paper again, without the first typing; what differed once it is typed."""
    return _check_answer(request, person, code, {})


@router.post(f"{ENTRY_QUALITY.path}/{{code}}")
def compare(request: Request, code: str, person: LetIn, typed: Typed) -> Response:
    """Keep the second typing and show what differs; nothing on record is changed by it."""

    def work(session: Session) -> Answer:
        sheet = _sheet(session, person, code)
        again = second_typing(session, sheet, typed)
        refuse_unreadable(again)
        by = (person.name, dt.datetime.now(dt.UTC))
        differs = (len(again.differences), len(again.compared))
        keep_check(session, sheet.code, again.typed_in, differs=differs, by=by)
        return Answer(303, to=f"{ENTRY_QUALITY.path}/{sheet.code}?posted=yes")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _check_answer(request, person, code, typed, problem_of(error))


def _check_answer(
    request: Request, person: Person, code: str, typed: Mapping[str, str], problem: Problem | None = None
) -> Response:
    with Session(reading(request.app.state.engine)) as session:
        sheet = _sheet(session, person, code)
        checked = check_of(session, sheet.code)
        again = (
            typed_before(session, sheet, checked.typed) if checked else second_typing(session, sheet, typed)
        )
    frame = _frame("A sheet typed a second time")
    page = CheckPage(
        frame, sheet, named(sheet), again, checked, problem, another=sheet.posted_by == person.name
    )
    return render("second_typing.html", page, status=problem.status if problem else 200)


def _sheet(session: Session, person: Person, code: str) -> IssuedSheet:
    sheet = sheet_by_code(session, code)
    if sheet.kind not in TYPED_TWICE or not within(person, sheet.base):
        raise OutsideBaseError
    return sheet


def _frame(title: str = "") -> Frame:
    return Frame(
        title=title or ENTRY_QUALITY.title,
        question=ENTRY_QUALITY.question,
        path=ENTRY_QUALITY.path,
        asked={},
        menu=ENTRY_QUALITY.path,
    )
