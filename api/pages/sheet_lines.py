"""Lines of a sheet as a page sends them one by one, each kept once for its key."""

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Annotated, Final

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.responses import JSONResponse
from sqlalchemy.orm import Session

from api.access import LetIn, OutsideBaseError, need, within
from api.errors import problem_of
from api.forms import day_typed
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.entry.landings_sheet import Keeper, open_landings_sheet
from db.entry.sheets import TypedLine, keep_line
from db.errors import LedgerError
from db.imports.refused import CellError
from db.sheets import IssuedSheet, sheet_by_code

router = APIRouter()

PATH: Final = "/sheets/lines"

Typed = Annotated[dict[str, str], Depends(form_of)]


@router.post(PATH, dependencies=[need("records.enter")])
def keep(request: Request, person: LetIn, typed: Typed) -> Response:
    """
    Keep one line, and answer with all that is open in its place: `lines` has one, or several in conflict.

    The sheet is named by its code (`sheet`), or by base and day where it is the landings of a base.
    """
    by = Keeper(person.name, dt.datetime.now(dt.UTC))

    def work(session: Session) -> Answer:
        sheet = _sheet(session, typed, by)
        if not within(person, sheet.base):
            raise OutsideBaseError
        found = keep_line(session, sheet.code, _line(typed), person=by.person, now=by.now)
        return Answer(200, {"sheet": sheet.code, "lines": [asdict(each) for each in found]})

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        problem = problem_of(error)
        if problem is None:
            raise
        return JSONResponse(problem.body(), problem.status, media_type="application/problem+json")


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
