"""Letting people in: one-time links and server-side sessions; only digests of secrets are kept."""

import datetime as dt
import hashlib
import secrets
from dataclasses import dataclass

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from db.errors import LedgerError, NotFoundError
from db.records.people import OneTimeLink, Person, PersonSession

LINK_LIFE = dt.timedelta(minutes=30)
IDLE = dt.timedelta(minutes=30)
# A grain keeps a page of many requests from writing many times.
GRAIN = dt.timedelta(minutes=1)
AT_MOST = dt.timedelta(hours=12)


def add_person(
    session: Session, name: str, role: str, *, now: dt.datetime, bases: tuple[str, ...] = ()
) -> None:
    """Add someone; no bases means every base."""
    if session.get(Person, name) is not None:
        raise LedgerError(f"person {name!r} is known already; choose another name")
    session.add(Person(name=name, role=role, bases=";".join(bases), added_at=_text(now), ended_at=None))
    session.flush()


def count_people(session: Session) -> int:
    """How many people have access."""
    return session.scalar(select(func.count()).select_from(Person).where(Person.ended_at.is_(None))) or 0


def issue_link(session: Session, name: str, *, now: dt.datetime) -> str:
    """A secret that lets this person in once, within half an hour."""
    person = session.get(Person, name)
    if person is None or person.ended_at is not None:
        raise NotFoundError(f"person {name!r} has no access here; add the person first")
    secret = secrets.token_urlsafe(32)
    session.add(
        OneTimeLink(digest=_digest(secret), person=name, expires_at=_text(now + LINK_LIFE), used_at=None)
    )
    session.flush()
    return secret


def use_link(session: Session, secret: str, *, now: dt.datetime) -> str:
    """Turn a one-time link into a session; returns the session's secret."""
    # One statement decides who used it first, so that two requests at once open one session between them.
    used = session.scalar(
        update(OneTimeLink)
        .where(
            OneTimeLink.digest == _digest(secret),
            OneTimeLink.used_at.is_(None),
            OneTimeLink.expires_at > _text(now),
        )
        .values(used_at=_text(now))
        .returning(OneTimeLink.person)
    )
    if used is None:
        raise NotFoundError("this link was used or has expired; ask the command line for a new one")
    opened = secrets.token_urlsafe(32)
    session.add(
        PersonSession(
            digest=_digest(opened), person=used, began_at=_text(now), last_used_at=_text(now), ended_at=None
        )
    )
    session.flush()
    return opened


@dataclass(frozen=True)
class LetIn:
    """Someone whose session is open; `stale` once its last use should be written down again."""

    name: str
    role: str
    bases: tuple[str, ...]
    stale: bool


def person_of(session: Session, secret: str, *, now: dt.datetime) -> LetIn | None:
    """Whose session this is, if it has not ended, idled out, or run its time. Only reads."""
    found = session.get(PersonSession, _digest(secret))
    if found is None or found.ended_at is not None:
        return None
    if _text(now - IDLE) > found.last_used_at or _text(now - AT_MOST) > found.began_at:
        return None
    person = session.get(Person, found.person)
    if person is None or person.ended_at is not None:
        return None
    stale = _text(now - GRAIN) > found.last_used_at
    return LetIn(person.name, person.role, tuple(filter(None, person.bases.split(";"))), stale)


def note_use(session: Session, secret: str, *, now: dt.datetime) -> None:
    """Write down that a session was used just now, so that it does not idle out."""
    session.execute(
        update(PersonSession).where(PersonSession.digest == _digest(secret)).values(last_used_at=_text(now))
    )


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def _text(now: dt.datetime) -> str:
    return now.astimezone(dt.UTC).isoformat(timespec="seconds")
