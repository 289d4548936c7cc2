"""One assumption or limit: its versions, what would follow from approving it, and a second person's approval."""

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, allowed, handed_over, need
from api.effects import Effects, effects_of
from api.errors import Problem, problem_of
from api.pages.assumptions import used_on
from api.pages.frame import Frame, render
from api.pages.navigation import ASSUMPTIONS
from api.words import sentence
from api.writes import KEY_FIELD, Answer, asked_in, form_of, write
from db.chain import Act
from db.entry.approvals import approve
from db.errors import LedgerError, NotFoundError
from db.given import APPROVED, Given, given
from db.recorded import read_record
from db.session import reading
from db.sessions import LetIn as Person

router = APIRouter()

Typed = Annotated[dict[str, str], Depends(form_of)]
MOVED_SHOWN: Final = 20


@dataclass(frozen=True)
class ApprovalPage:
    """What approval.html receives; `why_not` says why this person cannot approve what waits."""

    frame: Frame
    answer: str
    given: Given
    used_on: str
    effects: Effects
    moved_shown: int
    approves: bool
    why_not: str
    problem: Problem | None


@router.get(f"{ASSUMPTIONS.path}/{{number}}", dependencies=[need("assumptions.read")])
def look_at(request: Request, number: int, person: LetIn) -> Response:
    """One of them, with what would follow."""
    return _answer(request, person, number)


@router.post(f"{ASSUMPTIONS.path}/{{number}}/approval", dependencies=[need("assumptions.approve")])
def approve_it(request: Request, number: int, person: LetIn, typed: Typed) -> Response:
    """A second person approves the version that was looked at."""

    def work(session: Session) -> Answer:
        _found(session, number)
        act = Act(person.name, "form", "approve a record", typed.get("reason", "").strip() or None)
        approve(session, act, number, version=typed.get("version", ""))
        return Answer(303, to=ASSUMPTIONS.path)

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except NotFoundError:
        raise
    except LedgerError as error:
        return _answer(request, person, number, problem_of(error))


def _found(session: Session, number: int) -> Given:
    record = read_record(session, number)
    if record.kind not in APPROVED:
        raise NotFoundError(
            f"record {number} is neither an assumption nor a limit; look it up under Corrections"
        )
    return given(session, record)


def _answer(request: Request, person: Person, number: int, problem: Problem | None = None) -> Response:
    state = request.app.state
    engine = state.engine
    with Session(reading(engine)) as session:
        found = _found(session, number)
    record = found.record
    limit = record.kind == "wear_limits"
    waits = found.waits and not record.now.withdrawn
    page = ApprovalPage(
        frame=Frame(
            title=f"{'Wear limit' if limit else 'Assumption'}, record {record.fact}",
            question="What would follow if it counted?" if waits else ASSUMPTIONS.question,
            path=f"{ASSUMPTIONS.path}/{record.fact}",
            asked={},
            menu=ASSUMPTIONS.path,
        ),
        answer=_in_words(found),
        given=found,
        used_on="every forecast of its brake type" if limit else used_on(record.now.told["name"]),
        effects=effects_of(engine, record.kind, record.now.record, seed=state.settings.seed)
        if waits
        else Effects(),
        moved_shown=MOVED_SHOWN,
        approves=waits and allowed(person, "assumptions.approve") and person.name not in found.by,
        why_not=_why_not(found, person) if waits else "",
        problem=problem,
    )
    return render("approval.html", page, status=problem.status if problem else 200)


def _in_words(found: Given) -> str:
    now = found.record.now
    if now.withdrawn:
        return f"Withdrawn by {now.person}: {now.reason}."
    if not found.waits:
        return f"In force; approved by {now.person}."
    before = "the version before stays in force until then" if found.in_force else "it counts from then on"
    return f"Waits for a second person; {before}."


def _why_not(found: Given, person: Person) -> str:
    if told := handed_over(person, "assumptions.approve"):
        return sentence(told)
    if not allowed(person, "assumptions.approve"):
        return f"A {person.role} does not approve it; a planner or an administrator does."
    if person.name in found.by:
        return "You wrote what waits here; another person approves it."
    return ""
