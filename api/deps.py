"""What handlers ask for: a session of the ledger, and the study of the days asked about."""

import datetime as dt
from collections.abc import Iterator
from typing import Annotated

from fastapi import Depends, Query, Request
from sqlalchemy.orm import Session

from api.studies import ask
from lifecycle.study import Study


def ledger_session(request: Request) -> Iterator[Session]:
    """One session a request; committed when the handler has succeeded, rolled back when it has not."""
    with Session(request.app.state.engine) as session:
        yield session
        session.commit()


# Function scope: the commit happens before the answer leaves, so that a failed commit can still become an error page.
LedgerSession = Annotated[Session, Depends(ledger_session, scope="function")]


def asked_study(
    request: Request,
    on: Annotated[dt.date | None, Query(description="day forecast from")] = None,
    known_on: Annotated[dt.date | None, Query(description="as recorded by then")] = None,
    seed: Annotated[int | None, Query(ge=0)] = None,
) -> Study:
    """The study of the days in the query; by default the last day on record, as known now."""
    state = request.app.state
    return ask(state.engine, on=on, known_on=known_on, seed=state.settings.seed if seed is None else seed)


AskedStudy = Annotated[Study, Depends(asked_study)]
