"""People: who may do what, where; who gave it to them; a new one-time link, the end of access."""

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from api.access import ACTIONS, ANYBODY, LetIn, need
from api.access_told import AccessLine, access_lines
from api.deps import LedgerSession
from api.pages.frame import Frame, render
from api.pages.navigation import PEOPLE
from api.words import counted
from db import people, tokens
from db.access_acts import LINK_LIFE, PAGE, Doer
from db.errors import LedgerError
from db.records.people import ROLES
from db.session import Session
from db.sessions import LetIn as Person

router = APIRouter(dependencies=[need("people.manage")])

LINK_MINUTES: Final = int(LINK_LIFE.total_seconds() // 60)
Name = Annotated[str, Form(max_length=200)]


@dataclass(frozen=True)
class Duty:
    """One thing that can be done here, and the roles that may."""

    told: str
    roles: tuple[bool, ...]


@dataclass(frozen=True)
class PeoplePage:
    """What people.html receives; `link` is shown once."""

    frame: Frame
    answer: str
    people: tuple[people.KnownPerson, ...]
    link: str
    link_for: str
    link_minutes: int
    roles: tuple[str, ...]
    duties: tuple[Duty, ...]
    bases: tuple[str, ...]
    me: str
    lines: tuple[AccessLine, ...]


@router.get(PEOPLE.path)
def list_people(person: LetIn, session: LedgerSession) -> Response:
    """The page."""
    return _answer(session, person.name)


@router.post(PEOPLE.path)
def add_person(  # noqa: PLR0913, PLR0917 - one argument a field of the form
    request: Request,
    person: LetIn,
    session: LedgerSession,
    name: Name = "",
    role: Name = "",
    bases: Annotated[tuple[str, ...], Form()] = (),
) -> Response:
    """Add somebody, and show the link that lets them in."""
    now = dt.datetime.now(dt.UTC)
    people.add_person(session, name.strip(), role, now=now, bases=bases, by=_by(person))
    _told(request, "person added", name.strip())
    return _with_link(request, session, person, name.strip())


@router.post(f"{PEOPLE.path}/link")
def new_link(
    request: Request, person: LetIn, session: LedgerSession, name: Name = "", resets: Name = ""
) -> Response:
    """Make a new one-time link, shown once; with `resets`, one that lets a password be set anew."""
    answer = _with_link(request, session, person, name, resets=bool(resets))
    _told(request, "link made to reset a password" if resets else "link made", name)
    return answer


@router.post(f"{PEOPLE.path}/end")
def end_access(request: Request, person: LetIn, session: LedgerSession, name: Name = "") -> Response:
    """End somebody's access, at once and everywhere."""
    if name == person.name:
        raise LedgerError("you cannot end your own access; ask another administrator")
    people.end_person(session, name, now=dt.datetime.now(dt.UTC), by=_by(person))
    return _done(request, "access ended", name)


@router.post(f"{PEOPLE.path}/sign-out")
def sign_out_everywhere(request: Request, person: LetIn, session: LedgerSession, name: Name = "") -> Response:
    """End somebody's open sessions; they may come in again."""
    people.sign_out(session, name, now=dt.datetime.now(dt.UTC), by=_by(person))
    return _done(request, "sessions ended", name)


@router.post(f"{PEOPLE.path}/tokens")
def end_tokens(request: Request, person: LetIn, session: LedgerSession, name: Name = "") -> Response:
    """End all of somebody's tokens; they may make others."""
    tokens.end_tokens(session, name, now=dt.datetime.now(dt.UTC), by=_by(person))
    return _done(request, "tokens ended", name)


@router.post(f"{PEOPLE.path}/change")
def change_person(  # noqa: PLR0913, PLR0917 - one argument a field of the form
    request: Request,
    person: LetIn,
    session: LedgerSession,
    name: Name = "",
    role: Name = "",
    bases: Annotated[tuple[str, ...], Form()] = (),
) -> Response:
    """Give somebody another role or other bases, at once."""
    if name == person.name:
        raise LedgerError("you cannot change your own role or bases; ask another administrator")
    people.change_person(session, name, role, now=dt.datetime.now(dt.UTC), bases=bases, by=_by(person))
    return _done(request, "role or bases changed", name)


@router.post(f"{PEOPLE.path}/back")
def give_back(request: Request, person: LetIn, session: LedgerSession, name: Name = "") -> Response:
    """Give access back to somebody whose access has ended, and show the link that lets them in."""
    people.give_back(session, name, now=dt.datetime.now(dt.UTC), by=_by(person))
    _told(request, "access given back", name)
    return _with_link(request, session, person, name)


def _by(person: Person) -> Doer:
    return Doer(person.name, PAGE)


def _done(request: Request, event: str, name: str) -> Response:
    _told(request, event, name)
    return RedirectResponse(PEOPLE.path, status_code=303)


def _told(request: Request, event: str, name: str) -> None:
    """For the log: what was done, and to whose access; a name that the ledger has taken, never what was typed only."""
    request.state.event, request.state.subject = event, name


def _with_link(
    request: Request, session: Session, person: Person, name: str, *, resets: bool = False
) -> Response:
    now = dt.datetime.now(dt.UTC)
    secret = people.issue_link(session, name, now=now, by=_by(person), resets=resets)
    return _answer(session, person.name, link=str(request.url_for("enter", secret=secret)), link_for=name)


def _answer(session: Session, me: str, *, link: str = "", link_for: str = "") -> Response:
    now = dt.datetime.now(dt.UTC)
    known = people.list_people(session, now=now)
    inside = [each for each in known if not each.ended_at]
    page = PeoplePage(
        frame=Frame(
            title=PEOPLE.title, question=PEOPLE.question, path=PEOPLE.path, asked={}, menu=PEOPLE.path
        ),
        answer=f"{counted(len(inside), 'person', 'people')} with access.",
        people=known,
        link=link,
        link_for=link_for,
        link_minutes=LINK_MINUTES,
        roles=ROLES,
        duties=tuple(
            Duty(rule.told, tuple(role in rule.roles for role in ROLES))
            for action, rule in ACTIONS.items()
            if action != ANYBODY
        ),
        bases=people.known_bases(session),
        me=me,
        lines=access_lines(session, now=now),
    )
    return render("people.html", page)
