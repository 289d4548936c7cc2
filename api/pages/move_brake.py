"""One brake off the aircraft: sent to the shop, back from it or exchanged there, put into stock, scrapped, entered."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, NotAllowedError, allowed, need, within
from api.errors import Problem, problem_of
from api.forms import day_typed
from api.pages.frame import Frame, render
from api.pages.navigation import MOVES
from api.records import action_of, check_bases, enter_rows
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.based import bases_written
from db.chain import Act
from db.entry.brake_moves import BACK, EXCHANGED, SCRAPPED, SENT, STORED, BrakeMove, move_brake
from db.errors import LedgerError, NotFoundError, RowsRefusedError
from db.going_on import brakes_called
from db.imports.refused import CellError
from db.lookup import brake_type_ids, known_by
from db.people import known_bases
from db.records.brakes import ARRANGEMENTS, CONDITIONS, SHOP_WORK
from db.session import reading
from db.sessions import LetIn as Person
from db.whereabouts import AT_SHOP, GONE, ON_AIRCRAFT, Whereabouts

router = APIRouter(dependencies=[need("records.enter")])

Typed = Annotated[dict[str, str], Depends(form_of)]
PATH: Final = f"{MOVES.path}/brake"
ENTER: Final = "enter"
FIELDS: Final[Mapping[str, str]] = {
    "sent_on": "day",
    "back_on": "day",
    "serial": "serial_new",
    "brake_type": "brake_type_new",
}
AT_THE_SHOP: Final = {BACK: "came back", EXCHANGED: "another serial came back", SCRAPPED: "scrapped there"}
OFF: Final = {SENT: "sent to the shop", STORED: "put into stock", SCRAPPED: "scrapped"}


@dataclass(frozen=True)
class BrakeMovePage:
    """What move_brake.html receives: brakes to choose from, or one with the moves that it can make."""

    frame: Frame
    answer: str
    asked: str
    found: tuple[Whereabouts, ...]
    brake: Whereabouts | None
    moves: Mapping[str, str]
    works: tuple[str, ...]
    bases: tuple[str, ...]
    conditions: tuple[str, ...]
    arrangements: tuple[str, ...]
    brake_types: tuple[str, ...]
    may_enter: bool
    typed: Mapping[str, str]
    errors: Mapping[str, str]
    problem: Problem | None
    saved: bool


@router.get(PATH)
def brake(
    request: Request, person: LetIn, serial: str = "", brake_type: str = "", saved: str = ""
) -> Response:
    """The brake whose serial ends so: where it is, and what can happen to it."""
    with Session(reading(request.app.state.engine)) as session:
        return _answer(session, person, serial.strip(), brake_type, saved=bool(saved))


@router.post(PATH)
def save(request: Request, person: LetIn, typed: Typed) -> Response:
    """Record one move of the brake, or enter a brake that is new here."""
    serial, brake_type = typed.get("serial", "").strip(), typed.get("brake_type", "")
    errors: dict[str, str] = {}

    def work(session: Session) -> Answer:
        if typed.get("what") == ENTER:
            return _enter(session, person, typed)
        found = _called(session, person, serial, brake_type)
        if len(found) != 1:
            raise NotFoundError(f"{len(found)} brakes here end in {serial!r}; open the brake again")
        before = known_by(session).seq
        act = Act(person.name, "form", "move a brake", typed.get("reason", "").strip() or None)
        move_brake(session, act, found[0], _move(person, typed), today=today())
        check_bases(person, bases_written(session, person.name, before, on=today()))
        return _onward(found[0].serial, found[0].brake_type)

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except CellError as error:
        errors["day"] = f"{typed.get('day') or 'the day'} {error.rule}; {error.suggestion}"
        problem = None
    except LedgerError as error:
        problem = problem_of(error)
        if isinstance(error, RowsRefusedError):
            errors |= {
                FIELDS.get(each.column, each.column): f"{each.rule}; {each.suggestion}"
                for each in error.errors
            }
    with Session(reading(request.app.state.engine)) as session:
        return _answer(session, person, serial, brake_type, typed=typed, errors=errors, problem=problem)


def _move(person: Person, typed: Mapping[str, str]) -> BrakeMove:
    if typed.get("new_here") and not allowed(person, action_of("brakes")):
        raise NotAllowedError(
            f"{person.role} {person.name!r} does not enter new brakes; ask somebody who may"
        )
    return BrakeMove(
        what=typed.get("what", ""),
        day=day_typed(typed.get("day", ""), today=today()).isoformat(),
        work_order=typed.get("work_order", "").strip(),
        work=typed.get("work", ""),
        cost=typed.get("cost", "").strip(),
        currency=typed.get("currency", "").strip().upper(),
        base=typed.get("to_base", ""),
        condition=typed.get("condition", ""),
        serial_back=typed.get("serial_back", "").strip(),
        brake_type_back=typed.get("brake_type_back", ""),
        new_here=bool(typed.get("new_here")),
    )


def _enter(session: Session, person: Person, typed: Mapping[str, str]) -> Answer:
    if not allowed(person, action_of("brakes")):
        raise NotAllowedError(
            f"{person.role} {person.name!r} does not enter new brakes; ask somebody who may"
        )
    row = {
        "serial": typed.get("serial_new", "").strip(),
        "brake_type": typed.get("brake_type_new", ""),
        "owner": typed.get("owner", "").strip(),
        "arrangement": typed.get("arrangement", ""),
        "landings_since_new": typed.get("landings_since_new", "").strip(),
        "landings_since_overhaul": typed.get("landings_since_overhaul", "").strip(),
    }
    enter_rows(session, person, "brakes", [row], source="form")
    return _onward(row["serial"], row["brake_type"])


def _onward(serial: str, brake_type: str) -> Answer:
    asked = {"serial": serial, "brake_type": brake_type, "saved": "yes"}
    return Answer(303, to=f"{PATH}?{urlencode(asked)}")


def _called(session: Session, person: Person, serial: str, brake_type: str) -> list[Whereabouts]:
    found = brakes_called(session, serial, bases=person.bases, on=today())
    whole = [each for each in found if (each.serial, each.brake_type) == (serial, brake_type)]
    return whole or [each for each in found if brake_type in ("", each.brake_type)]


def _answer(  # noqa: PLR0913 - which brake, and what became of the form
    session: Session,
    person: Person,
    serial: str,
    brake_type: str,
    *,
    typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    problem: Problem | None = None,
    saved: bool = False,
) -> Response:
    found = _called(session, person, serial, brake_type)
    one = found[0] if len(found) == 1 else None
    page = BrakeMovePage(
        frame=Frame(
            title=f"{MOVES.title}: {one.serial if one else 'a brake'}",
            question=MOVES.question,
            path=PATH,
            asked={},
            menu=MOVES.path,
        ),
        answer=_sentence(found, serial),
        asked=serial,
        found=tuple(found) if one is None else (),
        brake=one,
        moves=_moves(one),
        works=tuple(work for work in SHOP_WORK if work != "scrap"),
        bases=tuple(base for base in known_bases(session) if within(person, base)),
        conditions=CONDITIONS,
        arrangements=ARRANGEMENTS,
        brake_types=tuple(sorted(brake_type_ids(session))),
        may_enter=allowed(person, action_of("brakes")),
        typed=typed or {"day": today().isoformat()},
        errors=errors or {},
        problem=problem,
        saved=saved,
    )
    wrong = problem.status if problem else 422 if errors else 0
    return render("move_brake.html", page, status=wrong or (404 if serial and not found else 200))


def _moves(one: Whereabouts | None) -> Mapping[str, str]:
    if one is None or one.kind in (ON_AIRCRAFT, *GONE):
        return {}
    return AT_THE_SHOP if one.kind == AT_SHOP else OFF


def _sentence(found: list[Whereabouts], serial: str) -> str:
    if len(found) == 1:
        return f"{found[0].serial} is {found[0].told}."
    if not serial:
        return "Which brake? Type the last four of its serial."
    if not found:
        return f"No serial on record here ends in {serial}."
    return f"{len(found)} serials end in {serial}."
