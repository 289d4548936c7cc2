"""Coming in and going out: sign in by name and password, use a one-time link, sign out."""

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from api.access import ANYBODY, need
from api.callers import cookie_name, secret_of
from api.deps import LedgerSession
from api.pages.frame import Frame, render
from api.security import SIGNED_OUT
from db import attempts, authenticators, passwords, people, sessions
from db.session import Session, reading

router = APIRouter()
open_to_all = [need(ANYBODY)]

SIGN_IN: Final = "/sign-in"
WRONG: Final = "The name, the password or the code is wrong, or this person has no access."
WAIT: Final = "Too many attempts. Wait a quarter of an hour, or use a one-time link from an administrator."


@dataclass(frozen=True)
class SignInPage:
    """What sign_in.html receives; `link` where a one-time link only wants its code."""

    frame: Frame
    wrong: str
    name: str
    link: str
    provider: str


@router.get(SIGN_IN, dependencies=open_to_all)
def sign_in_page(request: Request) -> Response:
    """The form."""
    return sign_in_answer(request)


@router.post(SIGN_IN, dependencies=open_to_all)
def sign_in(
    request: Request,
    name: Annotated[str, Form(max_length=200)] = "",
    password: Annotated[str, Form(max_length=1000)] = "",
    code: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Let somebody in whose name, password and code fit; the answer does not say which of them did not."""
    name, now = name.strip(), dt.datetime.now(dt.UTC)
    if not name or not password:
        return sign_in_answer(request, WRONG, status=401, name=name)
    if not may_try(request, name, now):
        return sign_in_answer(request, WAIT, status=429, name=name)
    engine = request.app.state.engine
    with Session(reading(engine)) as session:
        fits = passwords.is_password(session, name, password)
    with Session(engine) as session:
        if not fits or not _code_fits(session, name, code, now):
            session.commit()
            return sign_in_answer(request, WRONG, status=401, name=name)
        attempts.forget_attempts(session, name)
        sessions.end_session(session, secret_of(request), now=now)
        secret = sessions.begin_session(session, name, by="password", now=now)
        session.commit()
    return let_in_answer(request, secret, name)


@router.get("/enter/{secret}", dependencies=open_to_all)
def enter(secret: str, request: Request, session: LedgerSession) -> Response:
    """Use a one-time link and begin a session; a person with an authenticator is asked for a code first."""
    now = dt.datetime.now(dt.UTC)
    name = people.link_person(session, secret, now=now)
    if authenticators.has_authenticator(session, name):
        return sign_in_answer(request, status=200, name=name, link=secret)
    return let_in_answer(request, people.use_link(session, secret, now=now), name)


@router.post("/enter/{secret}", dependencies=open_to_all)
def enter_with_code(
    secret: str, request: Request, code: Annotated[str, Form(max_length=20)] = ""
) -> Response:
    """The same, with the code."""
    now, engine = dt.datetime.now(dt.UTC), request.app.state.engine
    with Session(reading(engine)) as session:
        name = people.link_person(session, secret, now=now)
    if not may_try(request, name, now):
        return sign_in_answer(request, WAIT, status=429, name=name, link=secret)
    with Session(engine) as session:
        if not _code_fits(session, name, code, now):
            return sign_in_answer(request, WRONG, status=401, name=name, link=secret)
        attempts.forget_attempts(session, name)
        opened = people.use_link(session, secret, now=now)
        session.commit()
    return let_in_answer(request, opened, name)


@router.post("/sign-out", dependencies=[need("own.account")])
def sign_out(request: Request, session: LedgerSession) -> Response:
    """End this session, here and in the browser."""
    request.state.event = "signed out"
    sessions.end_session(session, secret_of(request), now=dt.datetime.now(dt.UTC))
    answer = RedirectResponse(SIGN_IN, status_code=303, headers=SIGNED_OUT)
    answer.delete_cookie(
        cookie_name(request), path="/", secure=request.app.state.settings.secure_cookie, httponly=True
    )
    return answer


def sign_in_answer(
    request: Request, wrong: str = "", *, status: int = 200, name: str = "", link: str = ""
) -> HTMLResponse:
    """The form, with what was wrong; also the answer to whoever is not known."""
    if wrong:
        request.state.event = "sign-in refused" if wrong == WRONG else "too many attempts"
    frame = Frame(title="Sign in", question="Who are you?", path=SIGN_IN, asked={})
    provider = request.app.state.settings.openid_name
    return render("sign_in.html", SignInPage(frame, wrong, name, link, provider), status=status)


def let_in_answer(request: Request, secret: str, name: str) -> Response:
    """Hand the browser its session, and lead it to the front page."""
    request.state.person, request.state.event = name, "signed in"
    return with_session(request, RedirectResponse("/", status_code=303), secret)


def with_session(request: Request, answer: Response, secret: str) -> Response:
    """The answer, with the session's secret in the browser's cookie."""
    answer.set_cookie(
        cookie_name(request),
        secret,
        httponly=True,
        samesite="strict",
        secure=request.app.state.settings.secure_cookie,
        path="/",
    )
    return answer


def may_try(request: Request, name: str, now: dt.datetime) -> bool:
    """Whether this may be tried, by this name and from this address; written down before it is."""
    address = request.client.host if request.client else "unknown"
    with Session(request.app.state.engine) as session:
        # The log names people who are known; somebody may have typed a password into the field for the name.
        request.state.person = name if people.is_known(session, name) else ""
        may = attempts.note_attempt(session, name=name, address=address, now=now)
        session.commit()
    return may


def _code_fits(session: Session, name: str, code: str, now: dt.datetime) -> bool:
    if not authenticators.has_authenticator(session, name):
        return True
    return authenticators.use_code(session, name, code, now=now)
