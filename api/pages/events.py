"""Events: rejected take-offs and overheats entered, and the inspection that each waits for."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from sqlalchemy.orm import Session

from api import words
from api.access import LetIn, need, within
from api.errors import problem_of
from api.event_entry import WrongFieldsError, event_rows, inspection_row, wrong_in
from api.event_words import RECORDED, NoticeTold, told_notices
from api.pages.frame import Frame, render
from api.pages.navigation import EVENTS
from api.records import check_bases, enter_rows
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.based import bases_of
from db.errors import LedgerError, NotFoundError, RowsRefusedError
from db.imports.refused import CellError
from db.notices import INSPECTION, NOTICED, UntoldTakeoff, notices, untold_takeoffs
from db.session import reading
from db.sessions import LetIn as Person

router = APIRouter(dependencies=[need("records.enter")])

MOST_SEEN: Final = 20
SAME: Final = "That is on record already; nothing was added."

Typed = Annotated[dict[str, str], Depends(form_of)]


@dataclass(frozen=True)
class Form:
    """A form as typed and what is wrong with it, by field; `about` is the event it is about, 0 a new one."""

    typed: Mapping[str, str] = field(default_factory=dict)
    wrong: Mapping[str, str] = field(default_factory=dict)
    about: int = 0


@dataclass(frozen=True)
class EventsPage:
    """What events.html receives."""

    frame: Frame
    answer: str
    waiting: tuple[NoticeTold, ...]
    seen: tuple[NoticeTold, ...]
    untold: tuple[UntoldTakeoff, ...]
    kinds: tuple[str, ...]
    form: Form
    said: str


@router.get(EVENTS.path)
def events(  # noqa: PLR0913, PLR0917 - one argument a word of the address
    request: Request, person: LetIn, registration: str = "", day: str = "", said: str = "", of: int = 0
) -> Response:
    """Events that wait for an inspection, landings that tell of one without an event, and the form."""
    told = {"event": RECORDED, "same": SAME}.get(said, "")
    typed = {"registration": registration, "day": day, "event": NOTICED[0]}
    with Session(reading(request.app.state.engine)) as session:
        page = _page(session, person, Form(typed), said=told)
    if said == INSPECTION:
        page = replace(page, said=" ".join(each.text for each in page.seen if each.notice.record == of))
    return render("events.html", page)


@router.post(EVENTS.path)
def enter(request: Request, person: LetIn, typed: Typed) -> Response:
    """Record an event of an aircraft, or of some of its positions."""

    def work(session: Session) -> Answer:
        outcome = enter_rows(session, person, "events", event_rows(typed, today=today()), source="form")
        return Answer(303, to=f"{EVENTS.path}?said={'event' if outcome.added else 'same'}")

    return _written(request, person, typed, work)


@router.post(f"{EVENTS.path}/{{number}}/inspection")
def inspected(request: Request, number: int, person: LetIn, typed: Typed) -> Response:
    """Record the inspection after an event, with its work order."""

    def work(session: Session) -> Answer:
        notice = next((each for each in notices(session) if each.record == number), None)
        if notice is None:
            raise NotFoundError(
                f"no rejected take-off or overheat has the record number {number}; look it up here"
            )
        check_bases(person, bases_of(session, "events", [number], on=today()))
        outcome = enter_rows(
            session, person, "events", [inspection_row(notice, typed, today=today())], source="form"
        )
        done = urlencode({"said": INSPECTION if outcome.added else "same", "of": number})
        return Answer(303, to=f"{EVENTS.path}?{done}#event-{number}")

    return _written(request, person, typed, work, about=number)


def _written(
    request: Request,
    person: Person,
    typed: Mapping[str, str],
    work: Callable[[Session], Answer],
    *,
    about: int = 0,
) -> Response:
    """The answer of a write, or the page with what was typed and what is wrong with it."""
    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except WrongFieldsError as error:
        wrong, status = error.wrong, 422
    except CellError as error:
        wrong, status = {"day": f"{typed.get('day', '')!r} {error}"}, 422
    except RowsRefusedError as error:
        wrong, status = wrong_in(error), 422
    except LedgerError as error:
        problem = problem_of(error)
        wrong, status = {"": str(error)}, problem.status if problem else 409
    with Session(reading(request.app.state.engine)) as session:
        page = _page(session, person, Form(typed, wrong, about))
    return render("events.html", page, status=status)


def _page(session: Session, person: Person, form: Form, *, said: str = "") -> EventsPage:
    def seen_by(aircraft: int) -> bool:
        return all(within(person, base) for base in bases_of(session, "aircraft", [aircraft], on=today()))

    told = told_notices(each for each in notices(session) if seen_by(each.aircraft))
    waiting = tuple(each for each in told if not each.inspected)
    seen = tuple(each for each in reversed(told) if each.inspected)[:MOST_SEEN]
    untold = tuple(each for each in untold_takeoffs(session) if seen_by(each.aircraft))
    frame = Frame(title=EVENTS.title, question=EVENTS.question, path=EVENTS.path, asked={}, menu=EVENTS.path)
    return EventsPage(
        frame,
        _answer(len(waiting), len(untold)),
        waiting,
        seen,
        untold,
        NOTICED,
        form,
        said,
    )


def _answer(waiting: int, untold: int) -> str:
    told = f"{words.counted(waiting, 'event')} without an inspection on record" if waiting else ""
    asks = (
        f"landings tell of {words.counted(untold, 'rejected take-off')} without its event" if untold else ""
    )
    parts = [each for each in (told, asks) if each]
    return (
        f"{words.listed(parts).capitalize()}."
        if parts
        else "Every event on record has its inspection on record."
    )
