"""Today: what needs each person now, by what they do; the records office's part opens no study."""

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request, Response
from sqlalchemy.orm import Session

from api import words
from api.access import CLERKS, LetIn, allowed, need
from api.deps import AskedDay, asked_study
from api.due_first import Planning, by_base, planning
from api.editions import Moved, moved_of
from api.pages.frame import Frame, render
from api.pages.navigation import CLAIMS, COST, FRONT, RETROFIT, Place
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from api.waiting import Item, waiting
from api.writes import today
from db.errors import LedgerError
from db.session import reading
from db.sessions import LetIn as Person
from lifecycle import study as chain
from lifecycle.errors import LifecycleError

router = APIRouter(dependencies=[need("records.read")])

DECISIONS: Final = (RETROFIT, COST, CLAIMS)
MOST_EDITIONS: Final = 5


@dataclass(frozen=True)
class TodayPage:
    """What today.html receives: the parts that this person has, None and empty where they have not."""

    frame: Frame
    answer: str
    office: tuple[Item, ...] | None
    planning: Planning | None
    decisions: tuple[Place, ...]
    editions: tuple[Moved, ...] = ()


@router.get(FRONT.path)
def today_page(  # noqa: PLR0913, PLR0917 - one argument a word of the address
    request: Request,
    person: LetIn,
    form: AskedForm,
    base: str = "",
    on: Annotated[AskedDay, Query()] = None,
    known_on: Annotated[AskedDay, Query()] = None,
    known_head: str = "",
) -> Response:
    """The page; for a planner also the counts by base as a file."""
    if person.role == "clerk":
        return _office_alone(request, person)
    try:
        study = asked_study(request, on, known_on, known_head=known_head)
        frame = frame_of(request, FRONT, study, base)
        ahead = planning(frame, study, request.app.state.engine, base)
    except (LedgerError, LifecycleError):
        if on or known_on or known_head or base or not _enters(person):
            raise
        return _office_alone(request, person)
    if form:
        due = by_base(chain.changeouts(study, base=base), study.on)
        return download(due, name="due-by-base", form=form, head=study.ledger_head)
    decisions = tuple(each for each in DECISIONS if person.role == "reader" and allowed(person, each.action))
    office = _office(request, person) if _enters(person) else None
    editions = moved_of(request.app.state.engine, study) if allowed(person, RETROFIT.action) else []
    page = TodayPage(frame, ahead.answer, office, ahead, decisions, tuple(editions[:MOST_EDITIONS]))
    return render("today.html", page)


def _enters(person: Person) -> bool:
    return person.role in CLERKS


def _office_alone(request: Request, person: Person) -> Response:
    frame = Frame(title=FRONT.title, question=FRONT.question, path=FRONT.path, asked={}, menu=FRONT.path)
    office = _office(request, person)
    return render("today.html", TodayPage(frame, answer(office), office, None, ()))


def _office(request: Request, person: Person) -> tuple[Item, ...]:
    with Session(reading(request.app.state.engine)) as session:
        return waiting(session, person, on=today())


def answer(office: tuple[Item, ...]) -> str:
    """What waits most, in one sentence."""
    if not office:
        return "Nothing waits for you."
    kinds: dict[tuple[str, str], int] = {}
    for each in office:
        kinds[each.one, each.many] = kinds.get((each.one, each.many), 0) + each.count
    told = [words.counted(count, *kind) for kind, count in list(kinds.items())[:3]]
    left = len(kinds) - len(told)
    more = f", and {words.counted(left, 'more kind', 'more kinds')} of work" if left else ""
    return f"Waiting: {words.listed(told) if not left else ', '.join(told)}{more}."
