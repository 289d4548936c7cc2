"""Held readings: what somebody should look at a second time, and the second person's word."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, need, within
from api.errors import Problem, problem_of
from api.pages.frame import Frame, render
from api.pages.navigation import HELD
from api.records import enter_rows, seen_record
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.based import bases_of
from db.corrections import held_readings
from db.errors import LedgerError
from db.recorded import Recorded
from db.session import reading
from db.sessions import LetIn as Person

router = APIRouter()

MOST: Final = 100

Typed = Annotated[dict[str, str], Depends(form_of)]


@dataclass(frozen=True)
class HeldPage:
    """What held.html receives; `own` are readings that this person entered, `typed` the note of a refused ruling."""

    frame: Frame
    readings: tuple[Recorded, ...]
    own: frozenset[int]
    problem: Problem | None
    typed: Mapping[int, str]


@router.get(HELD.path, dependencies=[need("brakes.read")])
def held(request: Request, person: LetIn) -> Response:
    """Readings that are held, those that wait longest first."""
    return _answer(request, person)


@router.post(f"{HELD.path}/{{number}}", dependencies=[need("records.rule")])
def rule(request: Request, number: int, person: LetIn, typed: Typed) -> Response:
    """A second person accepts or refuses one."""

    def work(session: Session) -> Answer:
        seen_record(session, person, number)
        row = {"reading": str(number), "state": typed.get("state", ""), "note": typed.get("note", "").strip()}
        enter_rows(session, person, "rulings", [row], source="form")
        return Answer(303, to=HELD.path)

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _answer(request, person, problem_of(error), {number: typed.get("note", "")})


def _answer(
    request: Request, person: Person, problem: Problem | None = None, typed: Mapping[int, str] | None = None
) -> Response:
    with Session(reading(request.app.state.engine)) as session:
        seen = tuple(
            each
            for each in held_readings(session, most=MOST)
            if all(within(person, base) for base in bases_of(session, each.kind, [each.fact], on=today()))
        )
    own = frozenset(
        each.fact for each in seen if person.name in {version.person for version in each.versions}
    )
    frame = Frame(title=HELD.title, question=HELD.question, path=HELD.path, asked={}, menu=HELD.path)
    return render(
        "held.html",
        HeldPage(frame, seen, own, problem, typed or {}),
        status=problem.status if problem else 200,
    )
