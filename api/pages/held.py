"""Held readings: what somebody should look at a second time, and the second person's word."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, allowed, handed_over, need, within
from api.errors import Problem, problem_of
from api.pages.frame import Frame, render
from api.pages.navigation import HELD
from api.records import enter_rows, seen_record
from api.wear_limits import limit_words_of
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.based import bases_of
from db.corrections import Doubted, doubted_readings, held_count, held_readings
from db.errors import LedgerError
from db.lookup import LAST_NUMBER
from db.recorded import Recorded
from db.session import reading
from db.sessions import LetIn as Person

router = APIRouter()

ON_A_PAGE: Final = 50

Typed = Annotated[dict[str, str], Depends(form_of)]


@dataclass(frozen=True)
class HeldPage:
    """
    What held.html receives.

    `own` are readings that this person entered or put in doubt, `typed` the note of a refused ruling, `more` leads on,
    empty where there is no more, `total` counts all that are held, `why_not` says why this person does not rule on any,
    `limits` is what stands beside one past its limit.
    """

    frame: Frame
    readings: tuple[Recorded, ...]
    doubted: tuple[Doubted, ...]
    total: int
    more: str
    own: frozenset[int]
    problem: Problem | None
    why_not: str
    typed: Mapping[int, str]
    limits: Mapping[int, str]


@router.get(HELD.path, dependencies=[need("brakes.read")])
def held(request: Request, person: LetIn, after: Annotated[int, Query(ge=0, le=LAST_NUMBER)] = 0) -> Response:
    """Readings that are held, those that wait longest first, and those that a correction made doubtful."""
    return _answer(request, person, after=after)


@router.post(f"{HELD.path}/{{number}}", dependencies=[need("records.rule")])
def rule(request: Request, number: int, person: LetIn, typed: Typed) -> Response:
    """A second person accepts or refuses one."""

    def work(session: Session) -> Answer:
        seen_record(session, person, number)
        note = typed.get("note", "").strip()
        if not note:
            raise LedgerError("a ruling without its reason is not kept; say why, in a few words")
        row = {"reading": str(number), "state": typed.get("state", ""), "note": note}
        enter_rows(session, person, "rulings", [row], source="form")
        return Answer(303, to=HELD.path)

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _answer(request, person, problem_of(error), {number: typed.get("note", "")})


def _answer(
    request: Request,
    person: Person,
    problem: Problem | None = None,
    typed: Mapping[int, str] | None = None,
    *,
    after: int = 0,
) -> Response:
    with Session(reading(request.app.state.engine)) as session:

        def seen(record: Recorded) -> bool:
            bases = bases_of(session, record.kind, [record.fact], on=today())
            return all(within(person, base) for base in bases)

        found = held_readings(session, most=ON_A_PAGE, after=after)
        doubted = tuple(each for each in doubted_readings(session) if seen(each.reading)) if not after else ()
        total = held_count(session)
        shown = tuple(filter(seen, found))
        told = [each.fact for each in (*shown, *(one.reading for one in doubted))]
        limits = limit_words_of(session, told, on=today())
    own = {each.fact for each in shown if person.name in {version.person for version in each.versions}}
    own |= {each.reading.fact for each in doubted if person.name in _whose(each)}
    frame = Frame(title=HELD.title, question=HELD.question, path=HELD.path, asked={}, menu=HELD.path)
    more = f"{HELD.path}?after={found[-1].now.record}" if len(found) == ON_A_PAGE else ""
    why_not = _why_not(person)
    page = HeldPage(frame, shown, doubted, total, more, frozenset(own), problem, why_not, typed or {}, limits)
    return render("held.html", page, status=problem.status if problem else 200)


def _why_not(person: Person) -> str:
    if told := handed_over(person, "records.rule"):
        return told
    # What hinders is the role or the scope, not the base: the readings shown are of this person's bases.
    if allowed(replace(person, bases=()), "records.rule"):
        return ""
    return f"a {person.role} does not rule on readings; a clerk, a planner or an administrator does"


def _whose(doubted: Doubted) -> set[str]:
    return {doubted.by, *(version.person for version in doubted.reading.versions)}
