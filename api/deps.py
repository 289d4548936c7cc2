"""What handlers ask for: a session of the ledger, and the study of the days asked about."""

import datetime as dt
from collections.abc import Iterator
from typing import Annotated, Final

from fastapi import Depends, Query, Request, Response
from pydantic import BeforeValidator
from sqlalchemy.orm import Session

from api.forms import day_typed
from api.studies import ask
from db.imports.refused import CellError
from db.lookup import LAST_NUMBER
from lifecycle.study import Study


def ledger_session(request: Request) -> Iterator[Session]:
    """One session a request; committed when the handler has succeeded, rolled back when it has not."""
    with Session(request.app.state.engine) as session:
        yield session
        session.commit()


# Headers of every answer that is a result, with what they say.
ORIGIN: Final = {
    "Pinledger-Study": "number of the study that the result is of",
    "Pinledger-Head": "head of the log, up to which the records were taken; `known_head` asks for the same again",
    "Pinledger-Known-On": "day as known on which the records are",
}

# Function scope: the commit happens before the answer leaves, so that a failed commit can still become an error page.
LedgerSession = Annotated[Session, Depends(ledger_session, scope="function")]


def _asked_day(typed: object) -> object:
    """A field left empty asks for the day that is taken by default; what is no day is refused by name."""
    text = str(typed or "").strip()
    if not text:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        pass
    try:
        return day_typed(text, today=dt.datetime.now(dt.UTC).date())
    except CellError:
        raise ValueError(f"{typed!r} is not a day; wanted like 2026-03-14, 14 mar or 14") from None


AskedDay = Annotated[dt.date | None, BeforeValidator(_asked_day)]


def asked_study(
    request: Request,
    on: Annotated[AskedDay, Query(description="day forecast from")] = None,
    known_on: Annotated[AskedDay, Query(description="as recorded by then")] = None,
    seed: Annotated[int | None, Query(ge=0, le=LAST_NUMBER)] = None,
    known_head: Annotated[
        str, Query(description="as recorded up to the change of this head of the log")
    ] = "",
) -> Study:
    """The study of the days in the query; by default the last day on record, as known now."""
    settings = request.app.state.settings
    seed = settings.seed if seed is None else seed
    return ask(request.app.state.engine, on=on, known_on=known_on, seed=seed, known_head=known_head)


def _named_study(study: Annotated[Study, Depends(asked_study)], response: Response) -> Study:
    """The same, named in the headers of the answer."""
    told = (study.number, study.ledger_head, study.known_on.isoformat())
    response.headers.update(dict(zip(ORIGIN, told, strict=True)))
    return study


AskedStudy = Annotated[Study, Depends(_named_study)]
