"""Who a request comes from: the session of its cookie, or the API token that it bears."""

import datetime as dt
from typing import Final

from fastapi import Request

from api.spared import spared
from db import sessions, tokens
from db.session import Session, hurried, reading

COOKIE: Final = "__Host-pinledger"
PLAIN_COOKIE: Final = "pinledger"
BEARER: Final = "bearer "


class NotLetInError(Exception):
    """Nobody is known by this request's session or token."""


def cookie_name(request: Request) -> str:
    """Browsers take a __Host- cookie over TLS only; on loopback without TLS it has a plain name."""
    return COOKIE if request.app.state.settings.secure_cookie else PLAIN_COOKIE


def secret_of(request: Request) -> str:
    """The session secret that the browser holds, empty where it holds none."""
    return request.cookies.get(cookie_name(request), "")


def let_in(request: Request) -> sessions.LetIn | None:
    """The person of this request's session or token, None where there is none."""
    now = dt.datetime.now(dt.UTC)
    bearer = request.headers.get("authorization", "")
    if bearer:
        return _bearer(request, bearer, now)
    secret = secret_of(request)
    if not secret:
        return None
    engine = request.app.state.engine
    with Session(reading(engine)) as session:
        person = sessions.person_of(session, secret, now=now)
    if person is not None and person.stale:
        with spared("use of a session not noted"), Session(hurried(engine)) as session:
            sessions.note_use(session, secret, now=now)
            session.commit()
    return person


def _bearer(request: Request, bearer: str, now: dt.datetime) -> sessions.LetIn:
    """A token is for the JSON and the measurements, not for pages; a wrong one is refused, not overlooked."""
    if not bearer.lower().startswith(BEARER) or not request.url.path.startswith(("/api/", "/metrics")):
        raise NotLetInError
    secret = bearer[len(BEARER) :].strip()
    engine = request.app.state.engine
    with Session(reading(engine)) as session:
        person = tokens.person_of(session, secret, now=now)
    if person is None:
        raise NotLetInError
    if person.stale:
        with spared("use of a token not noted"), Session(hurried(engine)) as session:
            tokens.note_use(session, secret, now=now)
            session.commit()
    return person
