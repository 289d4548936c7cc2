"""Install and remove: choose the positions, say what came off and went on, see what will be recorded, record it."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import JSONResponse
from sqlalchemy.orm import Session

from api.access import LetIn, need, within
from api.errors import Problem, problem_of
from api.event_words import NoticeTold, told_notices
from api.forms import day_typed
from api.move_form import Asked, MoveForm, move_form, read_form
from api.pages.frame import Frame, render
from api.pages.navigation import MOVES
from api.records import check_bases
from api.serial_told import off_told, serial_told
from api.words import counted, listed
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.based import bases_of, bases_written
from db.chain import Act
from db.entry.moves import Moved, WorkOrder, carry_out
from db.entry.sheets import post_sheet
from db.errors import LedgerError, NotFoundError, RowsRefusedError
from db.fitted import FittedAircraft, fitted_on
from db.half_done import HalfDone, half_done
from db.imports.refused import CellError
from db.lookup import aircraft_by_registration, known_by
from db.notices import in_sight, notices
from db.people import known_bases
from db.records.brakes import CONDITIONS, SHOP_WORK, STARTS
from db.records.fleet import CONVENTIONS, LENGTH_UNITS
from db.session import reading
from db.sessions import LetIn as Person
from db.sheets import sheet_by_code
from db.work_orders import WorkOrderLine, lines_under
from lifecycle.observations import REMOVAL_REASONS

router = APIRouter(dependencies=[need("records.enter")])

Typed = Annotated[dict[str, str], Depends(form_of)]
MOST_FOUND: Final = 20


@dataclass(frozen=True)
class MovesPage:
    """What moves.html receives: no aircraft yet, or one with its positions; `lines` are those of a work order."""

    frame: Frame
    answer: str
    asked: str
    found: tuple[str, ...]
    aircraft: FittedAircraft | None
    notices: tuple[NoticeTold, ...]
    half: HalfDone
    order: str
    lines: tuple[WorkOrderLine, ...]
    done: str
    sheet: str


@dataclass(frozen=True)
class Choice:
    """One way to choose, and the words for it."""

    value: str
    told: str


@dataclass(frozen=True)
class FormPage:
    """What move.html receives: the form as typed with its errors; once `moved`, what will be recorded."""

    frame: Frame
    answer: str
    form: MoveForm
    moved: Moved | None
    problem: Problem | None
    reasons: tuple[str, ...]
    goes: tuple[Choice, ...]
    starts: tuple[str, ...]
    units: tuple[str, ...]
    conventions: tuple[str, ...]
    draft: str
    sheet: str
    notices: tuple[NoticeTold, ...]


@router.get(MOVES.path)
def moves(  # noqa: PLR0913, PLR0917 - one argument a word of the address
    request: Request,
    person: LetIn,
    registration: str = "",
    position: Annotated[tuple[str, ...], Query()] = (),
    work_order: str = "",
    posted: str = "",
    sheet: str = "",
) -> Response:
    """The aircraft to choose, its positions, or the form for those that were chosen."""
    with Session(reading(request.app.state.engine)) as session:
        found = _registrations(session, person, registration)
        if len(found) == 1 and position:
            aircraft = _aircraft(session, person, found[0])
            typed = {"day": today().isoformat(), "sheet": sheet}
            return _form_answer(session, person, move_form(aircraft, list(position), typed))
        return _start(session, person, registration, found, _Told(work_order, posted, sheet))


@router.get(f"{MOVES.path}/serials")
def serials(  # noqa: PLR0913, PLR0917 - one argument a word of the address
    request: Request,
    person: LetIn,
    registration: str,
    position: str,
    tail: str,
    positions: str = "",
    day: str = "",
    side: str = "on",
) -> Response:
    """Which brake the end of a serial means on a position, as typed so far, on or off; nothing is recorded."""
    with Session(reading(request.app.state.engine)) as session:
        aircraft = _aircraft(session, person, registration)
        there = next((each for each in aircraft.positions if each.position == position), None)
        if side == "off" and there:
            told = off_told(session, tail.strip(), there, bases=person.bases, on=today())
        else:
            told = serial_told(
                session,
                tail.strip(),
                aircraft=aircraft,
                positions=positions.split(";"),
                position=position,
                bases=person.bases,
                on=_day_or_today(day),
            )
    return JSONResponse({"told": told})


def _day_or_today(typed: str) -> dt.date:
    try:
        return day_typed(typed, today=today())
    except CellError:
        return today()


@router.post(MOVES.path)
def save(request: Request, person: LetIn, typed: Typed) -> Response:
    """Check the form and show what will be recorded; record it; or go back to what was typed."""
    if typed.get("act") == "record":
        return _record(request, person, typed)
    with Session(request.app.state.engine) as session:
        form = _form(session, person, typed)
        if typed.get("act") == "change":
            return _form_answer(session, person, form)
        problem, moved = None, None
        read_form(session, form, Asked(person.bases, today()))
        if form.order is not None:
            try:
                # Tried by the very act that will record it, and undone: this session is never committed.
                moved = _carried_out(session, person, form.order)
            except RowsRefusedError as error:
                form.refused(error.errors)
                session.rollback()
            except LedgerError as error:
                problem = problem_of(error)
                session.rollback()
        answer = _form_answer(session, person, form, moved=moved, problem=problem)
        session.rollback()
    return answer


def _record(request: Request, person: Person, typed: Mapping[str, str]) -> Response:
    read: list[MoveForm] = []

    def work(session: Session) -> Answer:
        form = read_form(session, _form(session, person, typed), Asked(person.bases, today()))
        read.append(form)
        if form.order is None:
            raise LedgerError("the form no longer fits what is on record; look at it again")
        _carried_out(session, person, form.order)
        if code := form.said("sheet"):
            post_sheet(session, code, person=person.name, now=dt.datetime.now(dt.UTC))
        asked = {
            "registration": form.aircraft.registration,
            "work_order": form.order.number,
            "posted": typed.get("positions", ""),
        }
        return Answer(303, to=f"{MOVES.path}?{urlencode(asked)}")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        with Session(reading(request.app.state.engine)) as session:
            form = read[0] if read else _form(session, person, typed)
            if isinstance(error, RowsRefusedError):
                form.refused(error.errors)
            return _form_answer(session, person, form, problem=None if form.errors else problem_of(error))


def _carried_out(session: Session, person: Person, order: WorkOrder) -> Moved:
    before = known_by(session).seq
    moved = carry_out(session, Act(person.name, "form", "install and remove"), order, today=today())
    check_bases(person, bases_written(session, person.name, before, on=today()))
    return moved


def _form(session: Session, person: Person, typed: Mapping[str, str]) -> MoveForm:
    aircraft = _aircraft(session, person, typed.get("registration", ""))
    return move_form(aircraft, typed.get("positions", "").split(";"), typed)


def _aircraft(session: Session, person: Person, registration: str) -> FittedAircraft:
    aircraft = fitted_on(session, registration, on=today())
    check_bases(person, bases_of(session, "aircraft", [aircraft.aircraft], on=today()))
    return aircraft


def _registrations(session: Session, person: Person, typed: str) -> tuple[str, ...]:
    """Aircraft whose registration is, or ends in, what was typed, of this person's bases."""
    asked = typed.strip().upper()
    if not asked:
        return ()
    every = aircraft_by_registration(session, today())
    names = [name for name in every if name.upper() == asked] or [
        name for name in every if name.upper().endswith(asked)
    ]
    own = [
        name
        for name in sorted(names)[: 5 * MOST_FOUND]
        if all(within(person, base) for base in bases_of(session, "aircraft", [every[name]], on=today()))
    ]
    return tuple(own[:MOST_FOUND])


@dataclass(frozen=True)
class _Told:
    order: str
    posted: str
    sheet: str


def _start(session: Session, person: Person, typed: str, found: tuple[str, ...], told: _Told) -> Response:
    aircraft = fitted_on(session, found[0], on=today()) if len(found) == 1 else None
    every = half_done(session, on=today())
    half = replace(
        every,
        empty=tuple(each for each in every.empty if within(person, each.base)),
        placeless=tuple(each for each in every.placeless if within(person, each.base)),
    )
    lines = lines_under(session, told.order) if told.order else ()
    page = MovesPage(
        frame=_frame(),
        answer=_sentence(aircraft, half, typed, found),
        asked=typed,
        found=found if len(found) > 1 else (),
        aircraft=aircraft,
        notices=_notices(session, aircraft),
        half=half,
        order=told.order,
        lines=tuple(each for each in lines if not aircraft or _is_seen(session, person, each)),
        done=f"move {found[0]} {told.posted}" if found and told.posted else "",
        sheet=told.sheet,
    )
    return render("moves.html", page, status=404 if typed and not found else 200)


def _is_seen(session: Session, person: Person, line: WorkOrderLine) -> bool:
    return all(within(person, base) for base in bases_of(session, "brakes", [line.now.brake], on=today()))


def _sentence(aircraft: FittedAircraft | None, half: HalfDone, typed: str, found: tuple[str, ...]) -> str:
    if aircraft is not None:
        empty = [each.position for each in aircraft.positions if not each.brake]
        if empty:
            return f"{aircraft.registration} has no brake on record in position {', '.join(empty)}."
        return (
            f"{aircraft.registration} has a brake on record in each of {len(aircraft.positions)} positions."
        )
    if typed:
        return (
            f"{len(found)} registrations end in {typed}."
            if found
            else f"No registration here ends in {typed}."
        )
    if half.count:
        return f"{counted(half.count, 'move is', 'moves are')} half done."
    return "No move is half done."


def _notices(session: Session, aircraft: FittedAircraft | None) -> tuple[NoticeTold, ...]:
    if aircraft is None:
        return ()
    return told_notices(in_sight(notices(session, aircraft=[aircraft.aircraft]), on=today()))


def _form_answer(
    session: Session,
    person: Person,
    form: MoveForm,
    *,
    moved: Moved | None = None,
    problem: Problem | None = None,
) -> Response:
    if not form.places:
        raise NotFoundError(f"{form.aircraft.registration} has no such position; choose from its own")
    registration = form.aircraft.registration
    there = [place.there.position for place in form.places]
    positions = f"{registration}, position{'s' if len(there) > 1 else ''} {listed(there)}"
    wrong = bool(form.errors or problem)
    page = FormPage(
        frame=_frame(f"{MOVES.title}: {registration}"),
        answer=f"{positions}: nothing is recorded yet. Look at it, then record it."
        if moved
        else f"{positions}: what came off, what went on?",
        form=form,
        moved=moved,
        problem=problem,
        reasons=REMOVAL_REASONS,
        goes=_goes(session, person),
        starts=STARTS,
        units=LENGTH_UNITS,
        conventions=CONVENTIONS,
        draft=f"move {registration} {';'.join(place.there.position for place in form.places)}",
        sheet=_code(session, form.said("sheet")),
        notices=_notices(session, form.aircraft),
    )
    status = problem.status if problem else 422 if wrong else 200
    return render("move.html", page, status=status)


def _code(session: Session, typed: str) -> str:
    return sheet_by_code(session, typed).code if typed else ""


def _goes(session: Session, person: Person) -> tuple[Choice, ...]:
    """Where a brake can go that comes off."""
    bases = [base for base in known_bases(session) if within(person, base)]
    return (
        *(Choice(f"shop:{work}", f"shop, {work}") for work in SHOP_WORK if work != "scrap"),
        *(
            Choice(f"stock:{condition}:{base}", f"stock at {base}, {condition}")
            for base in bases
            for condition in CONDITIONS
        ),
        Choice("scrap", "scrap"),
        Choice("aircraft", "another position, named under goes on"),
        Choice("none", "not known yet (stays half done)"),
    )


def _frame(title: str = "") -> Frame:
    return Frame(
        title=title or MOVES.title, question=MOVES.question, path=MOVES.path, asked={}, menu=MOVES.path
    )
