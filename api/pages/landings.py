"""The Landings sheet: how many landings each aircraft of a base made on a day, a line each."""

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import FileResponse
from sqlalchemy.orm import Session

from api import words
from api.access import ANYBODY, LetIn, OutsideBaseError, need, within
from api.errors import Problem, problem_of
from api.forms import day_typed
from api.landing_entry import AGAIN, SHEET_TOTAL, SURE, TypedSheet, name_of, post
from api.pages.assets import STATIC
from api.pages.frame import Frame, render
from api.pages.landing_rows import HEADINGS, Field, Row, Wrong, answer, rows_of, said, wrong_of
from api.pages.navigation import LANDINGS
from api.pasted import read_pasted
from api.waiting import WINDOW
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.entry.landings_sheet import COUNT, TOTAL, lines_of_sheet
from db.errors import LedgerError, NotFoundError, RowsRefusedError
from db.imports.refused import CellError
from db.lookup import aircraft_by_registration
from db.people import known_bases
from db.secrets_kept import digest_of
from db.session import reading
from db.sessions import LetIn as Person
from db.sheets import IssuedSheet, landings_sheet, sheet_by_code
from db.unreported import unreported_days

router = APIRouter()

ONE_DAY: Final = dt.timedelta(days=1)

Typed = Annotated[dict[str, str], Depends(form_of)]


@dataclass(frozen=True)
class LandingsPage:
    """
    What landings.html receives; `day` as typed, `sheet` None until a line is kept, `sure` offers the tick.

    `tried` where something was to be posted, and not only looked at; `next_day` the day to go on with once it was.
    """

    frame: Frame
    answer: str
    bases: tuple[str, ...]
    asked: TypedSheet
    day: str
    sheet: IssuedSheet | None
    headings: tuple[str, ...]
    rows: tuple[Row, ...]
    left: int
    wrong: tuple[Wrong, ...]
    total: Field
    sure: bool
    draft: str
    posted: bool
    told: tuple[str, ...]
    tried: bool = True
    next_day: dt.date | None = None


@router.get(LANDINGS.path, dependencies=[need("records.enter")])
def landings(  # noqa: PLR0913, PLR0917 - one argument a word of the address
    request: Request,
    person: LetIn,
    base: str | None = None,
    day: str = "",
    asks: str = "",
    sheet: str = "",
    posted: str = "",
) -> Response:
    """The sheet of a base and a day, or the one that a code brings up."""
    with Session(reading(request.app.state.engine)) as session:
        if sheet:
            found = sheet_by_code(session, sheet)
            base, day = found.base, found.day.isoformat()
        bases = _bases(session, person)
        base = base if base is not None else next(iter(bases), "")
        if not within(person, base):
            raise OutsideBaseError
        if base and base not in bases:
            raise NotFoundError(f"no base is called {base!r}; choose one of {words.listed(bases)}")
        on, wrong = _day(day)
        asked, issued, rows = _sheet(session, base, on, asks, {})
        page = _page(asked, issued, rows, bases=bases, day=day if wrong else words.iso(on))
        following = _next_unreported(session, base, on) if posted else None
    told = (f"This is the sheet of {words.day(on)}.",) if wrong else ()
    shown = replace(page, wrong=wrong, posted=bool(posted), told=told, tried=False, next_day=following)
    return _kept(render("landings.html", shown, status=422 if wrong else 200), person, issued)


@router.get(f"{LANDINGS.path}/worker.js", dependencies=[need(ANYBODY)])
def worker() -> Response:
    """The service worker that keeps pages of issued sheets; it may speak for the sheet's own address only."""
    allowed = {"Service-Worker-Allowed": LANDINGS.path, "Cache-Control": "no-cache"}
    return FileResponse(STATIC / "worker.js", media_type="text/javascript", headers=allowed)


@router.post(LANDINGS.path, dependencies=[need("records.enter")])
def save(request: Request, person: LetIn, typed: Typed) -> Response:
    """Post a sheet, whole or not at all; or fill it in from what was pasted, which writes nothing."""
    base = typed.get("base", "")
    try:
        day = day_typed(typed.get("day", ""), today=today())
    except CellError as error:
        return _again(request, person, typed, today() - ONE_DAY, errors=(_about_day(error),))
    if typed.get("act") == "paste":
        return _again(request, person, typed, day)

    def work(session: Session) -> Answer:
        asked, _ = _asked(session, base, day, typed.get("asks", ""), typed)
        done = post(session, person, asked, typed.get(KEY_FIELD, ""))
        return Answer(303, to=f"{LANDINGS.path}?{urlencode({'sheet': done.code, 'posted': 'yes'})}")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _again(request, person, typed, day, error=error)


def _next_unreported(session: Session, base: str, on: dt.date) -> dt.date | None:
    """The next day of the base with aircraft not reported, else the first of the days before."""
    found = unreported_days(session, first=today() - WINDOW, last=today() - ONE_DAY, bases=(base,))
    days = [each.day for each in found if each.base == base and each.day != on]
    return next((day for day in days if day > on), next(iter(days), None))


def _kept(page: Response, person: Person, issued: IssuedSheet | None) -> Response:
    """Tell the service worker whose page it is, and which issued sheet's."""
    page.headers["Sheet-Holder"] = digest_of(person.name)[:16]
    if issued:
        page.headers["Sheet-Code"] = issued.code
    return page


def _again(  # noqa: PLR0913 - what went wrong comes in two kinds
    request: Request,
    person: Person,
    typed: Mapping[str, str],
    day: dt.date,
    *,
    errors: tuple[Wrong, ...] = (),
    error: LedgerError | None = None,
) -> Response:
    """The page with all that was typed, and what was refused beside it."""
    problem = problem_of(error) if error else None
    with Session(reading(request.app.state.engine)) as session:
        base, told = typed.get("base", ""), tuple[str, ...]()
        asked, issued, rows = _sheet(session, base, day, typed.get("asks", ""), typed)
        if typed.get("act") == "paste":
            asked, told = _filled(asked, aircraft_by_registration(session, day))
        found = error.errors if isinstance(error, RowsRefusedError) else ()
        rows = rows_of(session, asked, issued, found)
        page = _page(asked, issued, rows, bases=_bases(session, person), day=typed.get("day", ""))
    total = replace(page.total, errors=tuple(said(each) for each in found if each.column == SHEET_TOTAL))
    wrong = (*errors, *(wrong_of(asked, each) for each in found))
    if problem and not found:
        wrong = (Wrong("", problem.detail),)
    return render(
        "landings.html",
        replace(
            page, wrong=wrong, total=total, told=told, sure=any(each.suggestion == AGAIN for each in found)
        ),
        status=_status(problem, errors),
    )


def _status(problem: Problem | None, errors: tuple[Wrong, ...]) -> int:
    return problem.status if problem else 422 if errors else 200


def _sheet(
    session: Session, base: str, day: dt.date, asks: str, form: Mapping[str, str]
) -> tuple[TypedSheet, IssuedSheet | None, tuple[Row, ...]]:
    asked, issued = _asked(session, base, day, asks, form)
    return asked, issued, rows_of(session, asked, issued)


def _asked(
    session: Session, base: str, day: dt.date, asks: str, form: Mapping[str, str]
) -> tuple[TypedSheet, IssuedSheet | None]:
    issued = landings_sheet(session, base, day)
    lines = lines_of_sheet(session, base, day, issued)
    chosen = asks or (str(issued.asks["asks"]) if issued else COUNT)
    return TypedSheet(base, day, chosen if chosen in (COUNT, TOTAL) else COUNT, lines, form), issued


def _page(
    asked: TypedSheet,
    issued: IssuedSheet | None,
    rows: tuple[Row, ...],
    *,
    bases: tuple[str, ...],
    day: str,
) -> LandingsPage:
    frame = Frame(
        title=LANDINGS.title, question=LANDINGS.question, path=LANDINGS.path, asked={}, menu=LANDINGS.path
    )
    total = Field(SHEET_TOTAL, SHEET_TOTAL, "", asked.form.get(SHEET_TOTAL, ""), "", (), step=True)
    return LandingsPage(
        frame=frame,
        answer=answer(asked, rows),
        bases=bases,
        asked=asked,
        day=day,
        sheet=issued,
        headings=tuple(HEADINGS[field] for field in asked.fields),
        rows=rows,
        left=len(asked.asked),
        wrong=(),
        total=total,
        sure=bool(asked.form.get(SURE)),
        draft=f"landings {asked.base} {asked.day} {asked.asks}",
        posted=False,
        told=(),
    )


def _filled(asked: TypedSheet, known: Collection[str]) -> tuple[TypedSheet, tuple[str, ...]]:
    """The sheet with what was pasted filled in, and what of it was left out; `known` are registrations of that day."""
    found = read_pasted(asked.form.get("pasted", ""), [each.registration for each in asked.lines])
    by_name = {each.registration: each for each in asked.lines}
    form, there = dict(asked.form), []
    for registration, cells in found.lines.items():
        line = by_name[registration]
        if line.reported:
            there.append(registration)
            continue
        for field, text in cells.items():
            form[name_of(asked.main if field == "landings" else field, line)] = text
    form["pasted"] = ""
    elsewhere = [each for each in found.unmatched if each.strip().upper() in known]
    unknown = [each for each in found.unmatched if each not in elsewhere]
    told = [
        f"{words.counted(len(found.lines) - len(there), 'line')} filled in. Nothing is posted yet.",
        *(f"Not at this base on the day: {words.listed(elsewhere)}." for _ in elsewhere[:1]),
        *(f"No aircraft is called {words.listed(unknown)}." for _ in unknown[:1]),
        *(f"Came twice, not filled in: {words.listed(found.twice)}." for _ in found.twice[:1]),
        *(f"On record already, not filled in: {words.listed(there)}." for _ in there[:1]),
        *(f"Columns not taken: {words.listed(found.unread)}." for _ in found.unread[:1]),
    ]
    return replace(asked, form=form), tuple(told)


def _day(typed: str) -> tuple[dt.date, tuple[Wrong, ...]]:
    """The day that is meant, yesterday where none is typed, and what is wrong with it."""
    if not typed:
        return today() - ONE_DAY, ()
    try:
        return day_typed(typed, today=today()), ()
    except CellError as error:
        return today() - ONE_DAY, (_about_day(error),)


def _about_day(error: CellError) -> Wrong:
    return Wrong("day", f"The day {error.rule}; {error.suggestion}.")


def _bases(session: Session, person: Person) -> tuple[str, ...]:
    return tuple(base for base in known_bases(session) if within(person, base))
