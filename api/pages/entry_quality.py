"""Entry quality: what was asked, corrected, left waiting; and sheets typed a second time by another person."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, OutsideBaseError, need, within
from api.errors import Problem, problem_of
from api.landing_entry import TypedSheet, name_of
from api.pages.frame import Frame, render
from api.pages.landing_rows import HEADINGS
from api.pages.navigation import ENTRY_QUALITY
from api.waiting import link_to
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.entry.landings_sheet import lines_of_sheet
from db.entry.sheets import keep_check
from db.entry_quality import Checked, EntryQuality, check_of, entry_quality
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
class Difference:
    """A place in which the second typing is not what is on record."""

    registration: str
    what: str
    on_record: str
    second: str
    record: int | None


@dataclass(frozen=True)
class CheckPage:
    """What second_typing.html receives; `checked` once it was typed, with what differs from the record as it is now."""

    frame: Frame
    sheet: IssuedSheet
    asked: TypedSheet
    headings: tuple[str, ...]
    inputs: tuple[tuple[str, tuple[tuple[str, str, bool], ...]], ...]
    checked: Checked | None
    differences: tuple[Difference, ...]
    problem: Problem | None


@router.get(ENTRY_QUALITY.path)
def quality_page(request: Request, person: LetIn) -> Response:
    """The counts of the last 90 days, and what is to be typed a second time."""
    with Session(reading(request.app.state.engine)) as session:
        counts = entry_quality(session, since=today() - WINDOW)
    waiting = tuple((sheet, link_to(sheet)) for sheet in counts.waiting if within(person, sheet.base))
    drawn = tuple(sheet for sheet in counts.to_check if within(person, sheet.base))
    return render("entry_quality.html", QualityPage(_frame(), counts, drawn, waiting, person.name))


@router.get(f"{ENTRY_QUALITY.path}/{{code}}")
def second_typing(request: Request, code: str, person: LetIn) -> Response:
    """The empty sheet to type from paper again, without the first typing; what differed once it is typed."""
    return _check_answer(request, person, code, {})


@router.post(f"{ENTRY_QUALITY.path}/{{code}}")
def compare(request: Request, code: str, person: LetIn, typed: Typed) -> Response:
    """Keep the second typing and show what differs; nothing on record is changed by it."""

    def work(session: Session) -> Answer:
        sheet, asked = _sheet(session, person, code, typed)
        places = list(_places(asked))
        typed_in = {line.registration: asked.typed(line) for line in asked.lines}
        differ = sum(there != second for *_, there, second in places)
        by = (person.name, dt.datetime.now(dt.UTC))
        keep_check(session, sheet.code, typed_in, differs=(differ, len(places)), by=by)
        return Answer(303, to=f"{ENTRY_QUALITY.path}/{sheet.code}?posted=yes")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _check_answer(request, person, code, typed, problem_of(error))


def _check_answer(
    request: Request, person: Person, code: str, typed: Mapping[str, str], problem: Problem | None = None
) -> Response:
    with Session(reading(request.app.state.engine)) as session:
        sheet, asked = _sheet(session, person, code, typed)
        checked = check_of(session, sheet.code)
    if checked:
        form = {
            name_of(field, line): text
            for line in asked.lines
            for field, text in checked.typed.get(line.registration, {}).items()
        }
        asked = TypedSheet(asked.base, asked.day, asked.asks, asked.lines, form)
    page = CheckPage(
        _frame("A sheet typed a second time"),
        sheet,
        asked,
        tuple(HEADINGS[field] for field in asked.fields),
        tuple(
            (
                line.registration,
                tuple(
                    (name_of(field, line), asked.typed(line)[field], field == asked.main and line.flies)
                    for field in asked.fields
                ),
            )
            for line in asked.lines
        ),
        checked,
        tuple(_differences(asked)) if checked else (),
        problem,
    )
    return render("second_typing.html", page, status=problem.status if problem else 200)


def _sheet(
    session: Session, person: Person, code: str, typed: Mapping[str, str]
) -> tuple[IssuedSheet, TypedSheet]:
    sheet = sheet_by_code(session, code)
    if sheet.kind != "landings" or not within(person, sheet.base):
        raise OutsideBaseError
    lines = lines_of_sheet(session, sheet.base, sheet.day, sheet)
    return sheet, TypedSheet(sheet.base, sheet.day, str(sheet.asks["asks"]), lines, typed)


def _places(asked: TypedSheet) -> Iterator[tuple[str, str, int | None, str, str]]:
    """Each place in which there is something on either side: registration, field, record, on record, second."""
    for line in asked.lines:
        for field, second in asked.typed(line).items():
            there = getattr(line.reported, field) if line.reported else None
            told = "" if there is None else str(there)
            if told or second:
                plain = second.lstrip("0") or second[-1:]
                yield line.registration, field, line.reported.record if line.reported else None, told, plain


def _differences(asked: TypedSheet) -> Iterator[Difference]:
    for registration, field, record, there, second in _places(asked):
        if there != second:
            yield Difference(registration, HEADINGS[field].lower(), there, second, record)


def _frame(title: str = "") -> Frame:
    return Frame(
        title=title or ENTRY_QUALITY.title,
        question=ENTRY_QUALITY.question,
        path=ENTRY_QUALITY.path,
        asked={},
        menu=ENTRY_QUALITY.path,
    )
