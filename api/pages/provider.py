"""Sign in by an identity provider, and connect one's own identity there with oneself here."""

import datetime as dt
import hmac
from dataclasses import dataclass
from types import ModuleType
from typing import Final

from fastapi import APIRouter, HTTPException, Request, Response

from api.access import ANYBODY, need
from api.caller import caller
from api.pages.frame import Frame, render
from api.pages.sign_in import SIGN_IN, with_session
from db import authenticators, outside, people, sessions
from db.access_acts import PAGE, PROVIDER, Doer, note_act
from db.secrets_kept import new_secret
from db.session import Session

router = APIRouter(prefix="/sign-in/provider", dependencies=[need(ANYBODY)])

COOKIE: Final = "__Host-pinledger-begun"
PLAIN_COOKIE: Final = "pinledger-begun"


@dataclass(frozen=True)
class OnwardPage:
    """What onward.html receives: the one step that the browser must take by itself."""

    frame: Frame
    told: str
    address: str
    label: str
    at_once: bool


@router.post("")
def begin(request: Request) -> Response:
    """Show the way to the provider; whoever is let in already connects their identity there."""
    openid, settings = _openid(request), request.app.state.settings
    person, state = caller().person, new_secret()
    begun = outside.Begun(new_secret(), new_secret(), person.name if person else None)
    address = openid.address_to_ask(settings, state, begun)
    with Session(request.app.state.engine) as session:
        outside.keep_begun(session, state, begun, now=dt.datetime.now(dt.UTC))
        session.commit()
    name = settings.openid_name
    answer = _onward(f"You leave Pinledger to sign in at {name}.", address, f"Go to {name}")
    # Lax: the provider sends the browser back from its own site, and this cookie must come along.
    answer.set_cookie(
        _cookie(request),
        state,
        max_age=600,
        httponly=True,
        samesite="lax",
        secure=settings.secure_cookie,
        path="/",
    )
    return answer


@router.get("/back")
def back(request: Request, code: str = "", state: str = "") -> Response:
    """Take the provider's answer, if this browser began it."""
    openid, settings = _openid(request), request.app.state.settings
    began = request.cookies.get(_cookie(request), "")
    if not code or not began or not hmac.compare_digest(began.encode(), state.encode()):
        raise HTTPException(400, "this sign-in was not begun in this browser; begin again")
    now = dt.datetime.now(dt.UTC)
    with Session(request.app.state.engine) as session:
        begun = outside.take_begun(session, state, now=now)
        session.commit()
    identity = openid.identity_from(settings, code, begun)
    with Session(request.app.state.engine) as session:
        answer = _let_in(request, session, identity.issuer, identity.subject, begun, now)
        session.commit()
    answer.delete_cookie(_cookie(request), path="/", secure=settings.secure_cookie, httponly=True)
    return answer


def _let_in(  # noqa: PLR0913, PLR0917 - who comes, from where, and when
    request: Request, session: Session, issuer: str, subject: str, begun: outside.Begun, now: dt.datetime
) -> Response:
    if begun.person is not None:
        outside.connect(session, begun.person, issuer, subject, now=now)
        note_act(session, begun.person, "identity connected", by=Doer(begun.person, PAGE), now=now)
        request.state.person, request.state.event = begun.person, "identity connected"
        return _onward("Connected. You can sign in that way from now on.", "/account", "Go on", at_once=True)
    name = outside.person_at(session, issuer, subject)
    if name is None:
        request.state.event = "sign-in refused"
        raise HTTPException(
            403, "this identity is not connected with anybody here; sign in, then connect it under your name"
        )
    request.state.person, request.state.event = name, "signed in by provider"
    if authenticators.has_authenticator(session, name):
        link = people.issue_link(session, name, now=now, by=Doer(name, PROVIDER))
        return _onward(
            "One more step: the code of your authenticator.", f"/enter/{link}", "Go on", at_once=True
        )
    secret = sessions.begin_session(session, name, by="provider", now=now)
    # A redirect would still count as the provider's; a step from a page of ours carries the strict cookie.
    return with_session(request, _onward("You are signed in.", "/", "Go on", at_once=True), secret)


def _onward(told: str, address: str, label: str, *, at_once: bool = False) -> Response:
    frame = Frame(title="Sign in", question="", path=SIGN_IN, asked={})
    return render("onward.html", OnwardPage(frame, told, address, label, at_once))


def _cookie(request: Request) -> str:
    return COOKIE if request.app.state.settings.secure_cookie else PLAIN_COOKIE


def _openid(request: Request) -> ModuleType:
    """The extra, loaded where a provider is set up alone."""
    if not request.app.state.settings.openid_name:
        raise HTTPException(404, "no identity provider is set up here")
    from api import openid  # noqa: PLC0415 - an extra: without a provider its libraries need not be there

    return openid
