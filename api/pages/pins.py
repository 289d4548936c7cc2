"""Pin readings: an aircraft's pins typed from its wear check, held against what is expected, saved in one change."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import JSONResponse
from sqlalchemy.orm import Session

from api import words
from api.access import LetIn, need, within
from api.errors import Problem, problem_of
from api.event_words import NoticeTold, told_notices
from api.figures.plan import Plan, plan_of
from api.forms import day_typed
from api.limit_ahead import LimitAhead, limits_ahead
from api.pages.frame import Frame, render
from api.pages.navigation import PIN_READINGS
from api.pin_check import REASONS
from api.records import check_bases
from api.wear_basis import WearBasis, wear_basis
from api.wear_check import ANSWERS, FieldError, WearCheck, check_brake, check_sheet
from api.wear_save import NotYetError, save_check
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.based import bases_of
from db.errors import LedgerError, NotFoundError
from db.imports.refused import CellError
from db.last_looks import LastLook, last_looks
from db.notices import in_sight, notices
from db.people import known_bases
from db.records.fleet import CONVENTIONS
from db.session import reading
from db.sessions import LetIn as Person
from db.sheets import sheet_by_code

router = APIRouter(dependencies=[need("records.enter")])

MOST_LISTED: Final = 40
CAUTION: Final = "Brakes may be hot after landing. Wait and approach as the manual directs."

Typed = Annotated[dict[str, str], Depends(form_of)]


@dataclass(frozen=True)
class Wanted:
    """Which sheet was asked for, as typed, and what is wrong with that."""

    base: str = ""
    aircraft: str = ""
    day: str = ""
    wrong: str = ""


@dataclass(frozen=True)
class Stage:
    """How far a sheet has come: sent and come back, with a problem of the ledger perhaps, or saved."""

    sent: bool = False
    posted: bool = False
    problem: Problem | None = None


@dataclass(frozen=True)
class ChoicePage:
    """What pins_choice.html receives."""

    frame: Frame
    answer: str
    bases: tuple[str, ...]
    wanted: Wanted
    looks: tuple[LastLook, ...]
    on: dt.date


@dataclass(frozen=True)
class PinsPage:
    """
    What pins.html receives; `problem` is any other reason why nothing was saved.

    `notices` and, once saved, `ahead` go by place on the sheet.
    """

    frame: Frame
    answer: str
    caution: str
    basis: WearBasis
    check: WearCheck
    plan: Plan
    notices: Mapping[int, tuple[NoticeTold, ...]]
    errors: tuple[FieldError, ...]
    problem: Problem | None
    sheet: str
    reasons: tuple[str, ...]
    answers: tuple[str, ...]
    conventions: tuple[str, ...]
    draft: str
    posted: bool
    ahead: Mapping[int, LimitAhead]


@router.get(PIN_READINGS.path)
def pin_readings(  # noqa: PLR0913, PLR0917 - one argument a word of the address
    request: Request,
    person: LetIn,
    aircraft: str = "",
    day: str = "",
    base: str = "",
    sheet: str = "",
    posted: str = "",
) -> Response:
    """The sheet of an aircraft and a day, or which aircraft wait for a look."""
    with Session(reading(request.app.state.engine)) as session:
        if sheet:
            found = sheet_by_code(session, sheet)
            aircraft, day, sheet = found.registration, found.day.isoformat(), found.code
        if not aircraft.strip():
            return _choose(session, person, Wanted(base))
        try:
            basis = _basis(request, session, person, aircraft, day)
        except (CellError, NotFoundError) as error:
            return _choose(session, person, Wanted(base, aircraft, day, str(error)))
        return _sheet_answer(session, basis, {"sheet": sheet}, Stage(posted=bool(posted)))


@router.get(f"{PIN_READINGS.path}/look")
def look(request: Request, person: LetIn, at: int, aircraft: str = "", day: str = "") -> Response:
    """What is said of the pins of one position as typed so far; nothing is saved."""
    form = dict(request.query_params)
    with Session(reading(request.app.state.engine)) as session:
        basis = _basis(request, session, person, aircraft, day)
    if not 0 <= at < len(basis.pins):
        raise NotFoundError(f"{basis.registration} has no place {at} on its sheet; open the sheet again")
    brake = check_brake(basis, at, form)
    told: dict[str, Any] = {
        "governs": brake.governs,
        "limit": brake.limit_words,
        "pins": [
            {
                "at": each.at,
                "looked": each.looked,
                "asks": each.asks,
                "stays": each.odd,
                "said": each.again_error or each.said,
                "error": each.error,
            }
            for each in brake.typed
            if each.first
        ],
    }
    return JSONResponse(told)


@router.post(PIN_READINGS.path)
def save(request: Request, person: LetIn, typed: Typed) -> Response:
    """Save the sheet in one change; what must be looked at again comes back first, and nothing is saved by then."""

    def work(session: Session) -> Answer:
        basis = _basis(request, session, person, typed.get("aircraft", ""), typed.get("day", ""))
        save_check(session, person, basis, typed)
        here = {"aircraft": basis.registration, "day": basis.on.isoformat(), "posted": "yes"}
        return Answer(303, to=f"{PIN_READINGS.path}?{urlencode(here)}")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except (NotYetError, LedgerError) as error:
        with Session(reading(request.app.state.engine)) as session:
            return _again(request, session, person, typed, error)


def _again(
    request: Request, session: Session, person: Person, typed: Mapping[str, str], error: Exception
) -> Response:
    """The sheet with all that was typed, and what is asked or refused beside it."""
    try:
        basis = _basis(request, session, person, typed.get("aircraft", ""), typed.get("day", ""))
    except (CellError, NotFoundError) as missing:
        aircraft, day = typed.get("aircraft", ""), typed.get("day", "")
        return _choose(session, person, Wanted("", aircraft, day, str(missing)))
    problem = problem_of(error) if isinstance(error, LedgerError) else None
    return _sheet_answer(session, basis, typed, Stage(sent=True, problem=problem))


def _basis(request: Request, session: Session, person: Person, aircraft: str, day: str) -> WearBasis:
    try:
        on = day_typed(day, today=today()) if day.strip() else today()
    except CellError as error:
        raise CellError(f"day {day!r} {error.rule}", error.suggestion) from error
    basis = wear_basis(request.app.state.engine, session, aircraft.strip().upper(), on=on)
    check_bases(person, bases_of(session, "aircraft", [basis.aircraft], on=on))
    return basis


def _choose(session: Session, person: Person, wanted: Wanted) -> Response:
    bases = tuple(each for each in known_bases(session) if within(person, each))
    wanted = replace(wanted, base=wanted.base or next(iter(bases), ""))
    looks = last_looks(session, wanted.base, on=today())[:MOST_LISTED]
    page = ChoicePage(_frame(), _whose_turn(wanted.base, looks), bases, wanted, looks, today())
    return render("pins_choice.html", page, status=422 if wanted.wrong else 200)


def _whose_turn(base: str, looks: tuple[LastLook, ...]) -> str:
    if not looks:
        return f"No aircraft with brakes flies from {base or 'any base'} today."
    first = looks[0]
    since = (
        f"last read on {words.day(first.read_on)}" if first.read_on else "not read since its brakes went on"
    )
    return f"At {base} {first.registration} has waited longest for a look: {since}."


def _sheet_answer(session: Session, basis: WearBasis, form: Mapping[str, str], stage: Stage) -> Response:
    check = check_sheet(basis, form, posted=stage.sent)
    page = PinsPage(
        frame=_frame(),
        answer=_told(basis, check, posted=stage.posted),
        caution=CAUTION,
        basis=basis,
        check=check,
        plan=plan_of([(each.position, each.group) for each in basis.pins]),
        notices=_notices(session, basis),
        errors=check.errors,
        problem=stage.problem,
        sheet=form.get("sheet", ""),
        reasons=REASONS,
        answers=ANSWERS,
        conventions=CONVENTIONS,
        draft=f"pins {basis.registration} {basis.on}",
        posted=stage.posted,
        ahead=limits_ahead(basis) if stage.posted else {},
    )
    refused = stage.problem.status if stage.problem else 422
    return render("pins.html", page, status=refused if stage.sent else 200)


def _notices(session: Session, basis: WearBasis) -> dict[int, tuple[NoticeTold, ...]]:
    """Notices of the brakes on the sheet, by their place on it."""
    brakes = {each.brake for each in basis.pins if each.brake}
    found = in_sight(notices(session, aircraft=[], brakes=brakes), on=basis.on)
    told = told_notices(found)
    return {
        at: tuple(words_ for notice, words_ in zip(found, told, strict=True) if pins.brake in notice.brakes)
        for at, pins in enumerate(basis.pins)
        if pins.brake
    }


def _told(basis: WearBasis, check: WearCheck, *, posted: bool) -> str:
    where = f"{basis.registration}, {words.day(basis.on)}"
    if posted:
        reads = [read for each in basis.pins for read in each.same_day]
        held = sum(read.state == "held" for read in reads)
        wait = f", {held} held until a second person rules" if held else ""
        return f"{where}: {words.counted(len(reads), 'reading')} on record{wait}."
    if check.asks:
        return f"{where}: {words.counted(len(check.asks), 'pin')} to look at again. Nothing is saved yet."
    pins = sum(len(each.typed) for each in check.brakes)
    fitted = sum(bool(each.brake) for each in basis.pins)
    return f"{where}: {words.counted(fitted, 'brake')}, {words.counted(pins, 'pin')} to read."


def _frame() -> Frame:
    place = PIN_READINGS
    return Frame(title=place.title, question=place.question, path=place.path, asked={}, menu=place.path)
