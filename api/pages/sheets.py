"""Printed sheets: issue them, print them again as they were, and bring one up by its code to type it back."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request, Response
from fastapi.responses import RedirectResponse
from sqlalchemy.orm import Session

from api.access import LetIn, OutsideBaseError, need, within
from api.errors import Problem, problem_of
from api.forms import day_typed
from api.pages.frame import Frame, render
from api.pages.navigation import LANDINGS, MOVES, PIN_READINGS, SHEETS
from api.words import counted
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.entry.issuing import issue_move_slip, issue_wear_check
from db.entry.landings_sheet import Keeper, open_landings_sheet
from db.entry.sheets import SheetAsked
from db.errors import LedgerError, NotFoundError
from db.imports.refused import CellError
from db.landing_lines import lines_of_base
from db.lookup import base_ids
from db.people import known_bases
from db.records.sheets import KINDS
from db.session import reading
from db.sessions import LetIn as Person
from db.sheet_code import SheetCodeError
from db.sheets import IssuedSheet, sheet_by_code, sheets_waiting

router = APIRouter(dependencies=[need("records.enter")])

Typed = Annotated[dict[str, str], Depends(form_of)]
MOST_WAITING: Final = 200


@dataclass(frozen=True)
class SheetsPage:
    """
    What sheets.html receives; `new` are the sheets issued just now, `kind` comes first, `errors` are by field.

    `code` is a code as typed that brought up no sheet, `code_error` says why.
    """

    frame: Frame
    answer: str
    waiting: tuple[IssuedSheet, ...]
    new: tuple[IssuedSheet, ...]
    kinds: tuple[str, ...]
    kind: str
    bases: tuple[str, ...]
    typed: Mapping[str, str]
    errors: Mapping[str, str]
    problem: Problem | None
    code: str = ""
    code_error: str = ""


@dataclass(frozen=True)
class WrongCode:
    """A code as typed, and why it brings up no sheet."""

    typed: str
    error: LedgerError


@router.get(SHEETS.path)
def sheets(
    request: Request, person: LetIn, issued: Annotated[tuple[str, ...], Query()] = (), kind: str = ""
) -> Response:
    """Sheets that are out, and the form that issues one of a kind."""
    with Session(reading(request.app.state.engine)) as session:
        new = tuple(_seen(person, sheet_by_code(session, code)) for code in issued[:MOST_WAITING])
        problem = problem_of(_no_kind(kind)) if kind and kind not in KINDS else None
        return _answer(session, person, new=new, kind=kind, problem=problem)


@router.post(SHEETS.path)
def issue(request: Request, person: LetIn, typed: Typed) -> Response:
    """Issue the sheets that were asked for."""
    errors: dict[str, str] = {}

    def work(session: Session) -> Answer:
        made = _issued(session, person, typed)
        return Answer(303, to=f"{SHEETS.path}?{urlencode([('issued', each.code) for each in made])}")

    problem = None
    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except CellError as error:
        errors["day"] = f"{typed.get('day') or 'the day'} {error.rule}; {error.suggestion}"
    except NotFoundError as error:
        errors["registration"] = str(error)
    except LedgerError as error:
        problem = problem_of(error)
    with Session(reading(request.app.state.engine)) as session:
        return _answer(
            session, person, kind=typed.get("kind", ""), typed=typed, errors=errors, problem=problem
        )


@router.get(f"{SHEETS.path}/open")
def open_typed(request: Request, person: LetIn, code: str = "") -> Response:
    """The sheet whose code was typed or scanned into a field."""
    return _brought_up(request, person, code)


@router.get(f"{SHEETS.path}/{{code}}.pdf")
def printed(request: Request, person: LetIn, code: str, paper: str = "A4") -> Response:
    """The sheet as it was issued, to print."""
    from api.paper.print import print_sheet  # noqa: PLC0415 - drawing is loaded when something is drawn

    with Session(reading(request.app.state.engine)) as session:
        sheet = _seen(person, sheet_by_code(session, code))
    name = f'inline; filename="sheet-{sheet.code}.pdf"'
    return Response(
        print_sheet(sheet, paper), media_type="application/pdf", headers={"Content-Disposition": name}
    )


@router.get(f"{SHEETS.path}/{{code}}")
def bring_up(request: Request, person: LetIn, code: str) -> Response:
    """The page on which the sheet with this code is typed back."""
    return _brought_up(request, person, code)


def _brought_up(request: Request, person: Person, code: str) -> Response:
    """The page on which a sheet is typed back; where there is none, the code as typed among the sheets that are out."""
    with Session(reading(request.app.state.engine)) as session:
        try:
            sheet = _seen(person, sheet_by_code(session, code))
        except (SheetCodeError, NotFoundError) as error:
            return _answer(session, person, wrong=WrongCode(code.strip(), error))
    return RedirectResponse(typed_at(sheet), status_code=303)


def typed_at(sheet: IssuedSheet) -> str:
    """The address of the page on which a sheet is typed back."""
    if sheet.kind == "move slip":
        places = [("position", each["position"]) for each in sheet.asks["positions"]]
        return f"{MOVES.path}?{urlencode([('registration', sheet.registration), *places, ('sheet', sheet.code)])}"
    path = LANDINGS.path if sheet.kind == "landings" else PIN_READINGS.path
    return f"{path}?{urlencode({'sheet': sheet.code})}"


def _issued(session: Session, person: Person, typed: Mapping[str, str]) -> list[IssuedSheet]:
    kind, base = typed.get("kind", ""), typed.get("base", "")
    on = day_typed(typed.get("day", ""), today=today())
    now = dt.datetime.now(dt.UTC)
    if kind not in KINDS:
        raise _no_kind(kind)
    if kind == "landings":
        by = Keeper(person.name, now)
        return [open_landings_sheet(session, base, on, typed.get("asks") or "count", by=by)]
    names = _aircraft(session, person, typed, on)
    asked = [
        SheetAsked(kind, on, base=base, registration=each, work_order=typed.get("work_order", "").strip())
        for each in names
    ]
    if kind == "wear check":
        return [issue_wear_check(session, each, person=person.name, now=now) for each in asked]
    places = typed.get("positions", "").replace(",", " ").split()
    return [issue_move_slip(session, each, places, person=person.name, now=now) for each in asked]


def _no_kind(kind: str) -> NotFoundError:
    return NotFoundError(f"{kind!r} is no kind of sheet; wanted one of {', '.join(KINDS)}")


def _aircraft(session: Session, person: Person, typed: Mapping[str, str], on: dt.date) -> list[str]:
    """The aircraft asked for by registration or its end; for a wear check none stands for all of the base."""
    asked, base = typed.get("registration", "").strip().upper(), typed.get("base", "")
    if not within(person, base):
        raise OutsideBaseError
    lines = lines_of_base(session, base_ids(session).get(base), on)
    own = [line.registration for line in lines if line.flies]
    if not asked and typed.get("kind") == "wear check":
        return own
    found = [name for name in own if name.upper() == asked] or [
        name for name in own if asked and name.upper().endswith(asked)
    ]
    if len(found) != 1:
        raise NotFoundError(
            f"{len(found)} aircraft of {base or 'no base'} end in {asked!r} on {on}; "
            f"{'write one registration' if found else 'choose its base of that day, or look at the registration again'}"
        )
    return found


def _seen(person: Person, sheet: IssuedSheet) -> IssuedSheet:
    if not within(person, sheet.base):
        raise OutsideBaseError
    return sheet


def _answer(  # noqa: PLR0913 - what was issued, and what became of the form
    session: Session,
    person: Person,
    *,
    new: tuple[IssuedSheet, ...] = (),
    kind: str = "",
    typed: Mapping[str, str] | None = None,
    errors: Mapping[str, str] | None = None,
    problem: Problem | None = None,
    wrong: WrongCode | None = None,
) -> Response:
    waiting = [each for each in sheets_waiting(session) if within(person, each.base)]
    bases = tuple(base for base in known_bases(session) if within(person, base))
    page = SheetsPage(
        frame=Frame(
            title=SHEETS.title, question=SHEETS.question, path=SHEETS.path, asked={}, menu=SHEETS.path
        ),
        answer=f"{counted(len(waiting), 'sheet is', 'sheets are')} out and not typed back."
        if waiting
        else "No sheet waits to be typed back.",
        waiting=tuple(waiting[:MOST_WAITING]),
        new=new,
        kinds=KINDS,
        kind=kind if kind in KINDS else "",
        bases=bases,
        typed=typed or {"day": today().isoformat()},
        errors=errors or {},
        problem=problem,
        code=wrong.typed if wrong else "",
        code_error=str(wrong.error) if wrong else "",
    )
    problem = problem or (problem_of(wrong.error) if wrong else None)
    status = problem.status if problem else 422 if errors else 200
    return render("sheets.html", page, status=status)
