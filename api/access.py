"""Who may come in: everything is closed unless a route is declared open."""

import datetime as dt
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse
from sqlalchemy.orm import Session

from api.deps import LedgerSession
from db import people
from db.session import reading

COOKIE = "__Host-pinledger"
PLAIN_COOKIE = "pinledger"

router = APIRouter()


class NotLetInError(Exception):
    """Nobody is known by this request's session."""


def cookie_name(request: Request) -> str:
    """Browsers take a __Host- cookie over TLS only; on loopback without TLS it has a plain name."""
    return COOKIE if request.app.state.settings.secure_cookie else PLAIN_COOKIE


def let_in(request: Request) -> people.LetIn:
    """The person of this request's session; refused where there is none."""
    engine = request.app.state.engine
    secret = request.cookies.get(cookie_name(request), "")
    now = dt.datetime.now(dt.UTC)
    with Session(reading(engine)) as session:
        person = people.person_of(session, secret, now=now) if secret else None
    if person is None:
        raise NotLetInError
    if person.stale:
        with Session(engine) as session:
            people.note_use(session, secret, now=now)
            session.commit()
    return person


LetIn = Annotated[people.LetIn, Depends(let_in)]


@router.get("/enter/{secret}")
def enter(secret: str, request: Request, session: LedgerSession) -> Response:
    """Use a one-time link and begin a session."""
    opened = people.use_link(session, secret, now=dt.datetime.now(dt.UTC))
    answer = RedirectResponse("/", status_code=303)
    answer.set_cookie(
        cookie_name(request),
        opened,
        httponly=True,
        samesite="strict",
        secure=request.app.state.settings.secure_cookie,
        path="/",
    )
    return answer
