"""Lines of a sheet as a page sends them one by one, each kept once for its key."""

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.responses import JSONResponse
from sqlalchemy.orm import Session

from api.access import LetIn, OutsideBaseError, need, within
from api.errors import problem_of
from api.forms import day_typed
from api.pages.navigation import LANDINGS
from api.pages.proposed import proposal_at
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.entry.landings_sheet import Keeper, drop_late_line, lines_of_sheet, open_landings_sheet
from db.entry.sheets import TypedLine, keep_line
from db.errors import LedgerError
from db.imports.refused import CellError
from db.late_lines import late_lines, typed_values
from db.sheets import IssuedSheet, KeptLine, sheet_by_code

router = APIRouter()

PATH: Final = "/sheets/lines"
DROP_PATH: Final = f"{PATH}/dropped"

Typed = Annotated[dict[str, str], Depends(form_of)]


@router.post(PATH, dependencies=[need("records.enter")])
def keep(request: Request, person: LetIn, typed: Typed) -> Response:
    """
    Keep one line, and answer with all that is open in its place: `lines` has one, or several in conflict.

    `late` is told where the place is on record and the line says something else: the record, what to do, and where.
    The sheet is named by its code (`sheet`), or by base and day where it is the landings of a base.
    """
    by = Keeper(person.name, dt.datetime.now(dt.UTC))

    def work(session: Session) -> Answer:
        sheet = _sheet(session, typed, by)
        if not within(person, sheet.base):
            raise OutsideBaseError
        found = keep_line(session, sheet.code, _line(typed), person=by.person, now=by.now)
        told = {"sheet": sheet.code, "lines": [asdict(each) for each in found]}
        return Answer(200, told | _late(session, sheet, found, typed.get("key", "")))

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        problem = problem_of(error)
        if problem is None:
            raise
        return JSONResponse(problem.body(), problem.status, media_type="application/problem+json")


@router.post(DROP_PATH, dependencies=[need("records.enter")])
def drop(request: Request, person: LetIn, typed: Typed) -> Response:
    """Drop a line that waits against the record of its day, and go back to its sheet."""
    by = Keeper(person.name, dt.datetime.now(dt.UTC))

    def work(session: Session) -> Answer:
        sheet = sheet_by_code(session, typed.get("sheet", ""))
        if not within(person, sheet.base):
            raise OutsideBaseError
        drop_late_line(session, sheet, typed.get("line", ""), by=by)
        return Answer(303, to=f"{LANDINGS.path}?sheet={sheet.code}")

    return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)


def _late(session: Session, sheet: IssuedSheet, found: tuple[KeptLine, ...], key: str) -> dict[str, Any]:
    """What a page tells of a line that says something else than the record of its place; nothing where it does not."""
    mine = next((each for each in found if each.key == key), None)
    if mine is None or sheet.kind != "landings":
        return {}
    line = next(
        (
            each
            for each in lines_of_sheet(session, sheet.base, sheet.day, sheet)
            if each.registration == mine.place
        ),
        None,
    )
    if line is None or line.reported is None or not late_lines([mine], line):
        return {}
    told = (
        f"{typed_values(mine)} is kept and not posted: {mine.place} is on record for this day. Correct the record, "
        "or open the sheet again and drop it."
    )
    record = line.reported.record
    return {"late": {"record": record, "told": told, "correct_at": proposal_at(record, mine.key)}}


def _sheet(session: Session, typed: Mapping[str, str], by: Keeper) -> IssuedSheet:
    if typed.get("sheet"):
        return sheet_by_code(session, typed["sheet"])
    try:
        day = day_typed(typed.get("day", ""), today=today())
    except CellError as error:
        raise LedgerError(f"the day {error.rule}; {error.suggestion}") from None
    return open_landings_sheet(session, typed.get("base", ""), day, typed.get("asks", ""), by=by)


def _line(typed: Mapping[str, str]) -> TypedLine:
    try:
        fields = json.loads(typed.get("typed", ""))
    except ValueError:
        fields = None
    if not isinstance(fields, dict) or not all(isinstance(each, str) for each in fields.values()):
        raise HTTPException(422, "typed is no JSON object of texts; send the fields of one line")
    return TypedLine(
        typed.get("key", ""), typed.get("place", ""), fields, tuple(typed.get("seen", "").split())
    )
