"""Who calls: known to templates (menu, sign out, the token of each form) without passing it through every page."""

import hashlib
import hmac
from contextvars import ContextVar
from dataclasses import dataclass

from db.sessions import LetIn


@dataclass(frozen=True)
class Caller:
    """The person of a request, None where nobody is known, and the token that their forms carry."""

    person: LetIn | None = None
    form_token: str = ""


NOBODY = Caller()
_caller: ContextVar[Caller] = ContextVar("caller", default=NOBODY)


def set_caller(person: LetIn | None, session_secret: str) -> None:
    """Remember who calls until this request ends; each request has a context of its own."""
    _caller.set(Caller(person, form_token_of(session_secret) if session_secret else ""))


def caller() -> Caller:
    """Who calls."""
    return _caller.get()


def form_token_of(session_secret: str) -> str:
    """The token of a session's forms: nothing to keep, and it does not tell the secret."""
    return hmac.new(session_secret.encode(), b"pinledger form", hashlib.sha256).hexdigest()
