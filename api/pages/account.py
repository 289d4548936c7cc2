"""One's own account: password, authenticator, API tokens, open sessions."""

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Form, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from api.access import ACTIONS, FOR_TOKENS, LetIn, allowed, handed_over, need
from api.access_told import AccessLine, access_lines, came_by, password_warning
from api.callers import secret_of
from api.deps import LedgerSession
from api.pages.frame import Frame, render
from api.pages.sign_in import may_try, with_session
from db import attempts, authenticators, passwords, people, sessions, tokens
from db.access_acts import PAGE, Doer
from db.errors import LedgerError
from db.session import Session, reading

router = APIRouter(dependencies=[need("own.account")])

ACCOUNT: Final = "/account"
TOKEN_DAYS: Final = 90
Typed = Annotated[str, Form(max_length=1000)]


@dataclass(frozen=True)
class ScopeChoice:
    """One thing that a token may do."""

    action: str
    told: str


@dataclass(frozen=True)
class Once:
    """A secret that is shown once: what it is, how to use it, and the secret."""

    title: str
    use: str
    secret: str


@dataclass(frozen=True)
class AccountPage:
    """What account.html receives."""

    frame: Frame
    person: sessions.LetIn
    once: Once | None
    has_password: bool
    has_authenticator: bool
    seed: str
    tokens: tuple[tokens.KnownToken, ...]
    scopes: tuple[ScopeChoice, ...]
    bases: tuple[str, ...]
    token_days: int
    sessions: tuple[sessions.OpenSession, ...]
    shortest: int
    provider: str
    warning: str
    came_by: str
    handed_over: str
    lines: tuple[AccessLine, ...]


@router.get(ACCOUNT)
def account(request: Request, person: LetIn, session: LedgerSession) -> Response:
    """The page."""
    return _answer(request, session, person)


@router.post(f"{ACCOUNT}/password")
def set_password(request: Request, person: LetIn, new: Typed = "", present: Typed = "") -> Response:
    """Set the password; every other session ends, and this one goes on under a new secret."""
    proven = _prove(request, person, present, anew=person.resets)
    now = dt.datetime.now(dt.UTC)
    # Without the present password the session proves no more than it did before.
    by = "password" if proven or not person.began_by else person.began_by
    with Session(request.app.state.engine) as session:
        passwords.set_password(session, person.name, new, now=now)
        if person.link and not proven:
            people.note_password(session, person.link, now=now)
            tokens.end_tokens(session, person.name, now=now, by=Doer(person.name, PAGE))
        sessions.end_sessions(session, person.name, now=now)
        secret = sessions.begin_session(session, person.name, by=by, now=now, link=person.link)
        session.commit()
    request.state.event = "password set"
    return with_session(request, RedirectResponse(ACCOUNT, status_code=303), secret)


@router.post(f"{ACCOUNT}/authenticator")
def begin_authenticator(request: Request, person: LetIn, present: Typed = "") -> Response:
    """Make a seed and show it, once, to be taken into a device."""
    _prove(request, person, present)
    with Session(request.app.state.engine) as session:
        seed = authenticators.begin_authenticator(session, person.name, now=dt.datetime.now(dt.UTC))
        session.commit()
        told = (
            "Take this key into your authenticator, then type the code that it shows. It counts from then on."
        )
        once = Once("Key for your authenticator", told, seed)
        return _answer(
            request, session, person, once, seed=authenticators.authenticator_address(person.name, seed)
        )


@router.post(f"{ACCOUNT}/authenticator/confirm")
def confirm_authenticator(
    request: Request, person: LetIn, session: LedgerSession, code: Typed = ""
) -> Response:
    """From now on, a code is asked for."""
    authenticators.confirm_authenticator(session, person.name, code, now=dt.datetime.now(dt.UTC))
    _end_others(request, session, person)
    request.state.event = "authenticator added"
    return RedirectResponse(ACCOUNT, status_code=303)


@router.post(f"{ACCOUNT}/authenticator/remove")
def remove_authenticator(request: Request, person: LetIn, present: Typed = "", code: Typed = "") -> Response:
    """Take it away, with a code of it."""
    _prove(request, person, present)
    now = dt.datetime.now(dt.UTC)
    with Session(request.app.state.engine) as session:
        if not authenticators.use_code(session, person.name, code, now=now):
            raise LedgerError("the code does not fit; a lost device is taken away on the command line")
        authenticators.remove_authenticator(session, person.name)
        _end_others(request, session, person)
        session.commit()
    request.state.event = "authenticator removed"
    return RedirectResponse(ACCOUNT, status_code=303)


@router.post(f"{ACCOUNT}/tokens")
def add_token(  # noqa: PLR0913, PLR0917 - one argument a field of the form
    request: Request,
    person: LetIn,
    session: LedgerSession,
    label: Typed = "",
    scope: Annotated[tuple[str, ...], Form()] = (),
    bases: Annotated[tuple[str, ...], Form()] = (),
    days: Annotated[int, Form()] = TOKEN_DAYS,
) -> Response:
    """Make a token no wider than its owner, and show it once."""
    for action in scope:
        if action not in {each.action for each in _scopes(person)}:
            raise LedgerError(f"a token of {person.name!r} may not do {action!r}; choose from the list")
    secret = tokens.issue_token(
        session, person.name, label=label, scope=scope, bases=bases, days=days, now=dt.datetime.now(dt.UTC)
    )
    request.state.event = "token made"
    use = "Send it as the header “Authorization: Bearer ...”. It is not kept here and cannot be shown again."
    return _answer(request, session, person, Once(f"Token for {label}", use, secret))


@router.post(f"{ACCOUNT}/tokens/end")
def end_token(request: Request, person: LetIn, session: LedgerSession, name: Typed = "") -> Response:
    """End a token."""
    tokens.end_token(session, person.name, name, now=dt.datetime.now(dt.UTC))
    request.state.event = "token ended"
    return RedirectResponse(ACCOUNT, status_code=303)


@router.post(f"{ACCOUNT}/sessions/end")
def end_sessions(request: Request, person: LetIn, session: LedgerSession) -> Response:
    """End every other session."""
    _end_others(request, session, person)
    return RedirectResponse(ACCOUNT, status_code=303)


def _answer(
    request: Request, session: Session, person: sessions.LetIn, once: Once | None = None, *, seed: str = ""
) -> Response:
    now = dt.datetime.now(dt.UTC)
    page = AccountPage(
        frame=Frame(
            title="Your account",
            question="How do you come in, and what comes in for you?",
            path=ACCOUNT,
            asked={},
        ),
        person=person,
        once=once,
        has_password=passwords.has_password(session, person.name),
        has_authenticator=authenticators.has_authenticator(session, person.name),
        seed=seed,
        tokens=tokens.list_tokens(session, person.name, now=now),
        scopes=_scopes(person),
        bases=person.bases or people.known_bases(session),
        token_days=TOKEN_DAYS,
        sessions=sessions.list_sessions(session, person.name, now=now),
        shortest=passwords.SHORTEST,
        provider=request.app.state.settings.openid_name,
        warning=password_warning(session, person.name, now=now),
        came_by=came_by(session, person.name),
        handed_over=_handed_over(person),
        lines=access_lines(session, person.name, now=now),
    )
    return render("account.html", page)


def _handed_over(person: sessions.LetIn) -> str:
    """Why this session may not give a second person's word, where its person could."""
    return next(filter(None, (handed_over(person, action) for action in ACTIONS)), "")


def _scopes(person: sessions.LetIn) -> tuple[ScopeChoice, ...]:
    """What this person may do somewhere, as far as a token may do it."""
    places = person.bases or ("",)
    return tuple(
        ScopeChoice(action, ACTIONS[action].told)
        for action in FOR_TOKENS
        if any(allowed(person, action, base) for base in places)
    )


def _prove(request: Request, person: sessions.LetIn, password: str, *, anew: bool = False) -> bool:
    """
    Have the present password given again before what lets in is changed; counted as an attempt to sign in.

    False where none is asked for: none is set yet, or the link was made to set it `anew`.
    """
    engine = request.app.state.engine
    with Session(reading(engine)) as session:
        if anew or not passwords.has_password(session, person.name):
            return False
    if not may_try(request, person.name, dt.datetime.now(dt.UTC)):
        raise HTTPException(429, "too many attempts; wait a quarter of an hour")
    with Session(reading(engine)) as session:
        if not passwords.is_password(session, person.name, password):
            raise LedgerError("the present password is wrong; type it again")
    with Session(engine) as session:
        attempts.forget_attempts(session, person.name)
        session.commit()
    return True


def _end_others(request: Request, session: Session, person: sessions.LetIn) -> None:
    now = dt.datetime.now(dt.UTC)
    sessions.end_sessions(session, person.name, now=now, but=secret_of(request))
