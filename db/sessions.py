"""Server-side sessions: they idle out after half an hour, end after twelve hours, and can be ended at once."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from db.records.people import OneTimeLink, Person, PersonSession
from db.secrets_kept import digest_of, listed, new_secret, time_text

IDLE = dt.timedelta(minutes=30)
AT_MOST = dt.timedelta(hours=12)
# A grain keeps a page of many requests from writing many times.
GRAIN = dt.timedelta(minutes=1)
# A session begun by a link that somebody else handed over: it does not prove that this person is there.
HANDED_OVER = "link"


@dataclass(frozen=True)
class LetIn:
    """
    Somebody who has been let in; no `bases` means every base.

    `scope` is None for a session, and what a token may do for its bearer. `stale` once the use should be written down
    again; `began_by` is how the session began: link, service, password or provider. `link` is the digest of its link,
    and `resets` whether that may still set a password anew.
    """

    name: str
    role: str
    bases: tuple[str, ...]
    stale: bool
    scope: tuple[str, ...] | None = None
    began_by: str = ""
    link: str = ""
    resets: bool = False


@dataclass(frozen=True)
class OpenSession:
    """One open session, as its owner sees it; `digest` names it and opens nothing."""

    digest: str
    began_at: str
    last_used_at: str
    began_by: str


def begin_session(session: Session, person: str, *, by: str, now: dt.datetime, link: str = "") -> str:
    """Begin a session; returns its secret, which is not kept."""
    secret = new_secret()
    session.add(
        PersonSession(
            digest=digest_of(secret),
            person=person,
            began_at=time_text(now),
            last_used_at=time_text(now),
            ended_at=None,
            began_by=by,
            link=link or None,
        )
    )
    session.flush()
    return secret


def person_of(session: Session, secret: str, *, now: dt.datetime) -> LetIn | None:
    """Whose session this is, if it has not ended, idled out, or run its time. Only reads."""
    found = session.get(PersonSession, digest_of(secret))
    if found is None or not _is_open(found, now):
        return None
    person = session.get(Person, found.person)
    if person is None or person.ended_at is not None:
        return None
    stale = time_text(now - GRAIN) > found.last_used_at
    link = session.get(OneTimeLink, found.link) if found.link else None
    resets = link is not None and bool(link.resets) and link.password_at is None
    return LetIn(
        person.name,
        person.role,
        listed(person.bases),
        stale,
        began_by=found.began_by or "",
        link=found.link or "",
        resets=resets,
    )


def note_use(session: Session, secret: str, *, now: dt.datetime) -> None:
    """Write down that a session was used just now, so that it does not idle out."""
    session.execute(
        update(PersonSession)
        .where(PersonSession.digest == digest_of(secret))
        .values(last_used_at=time_text(now))
    )


def list_sessions(session: Session, person: str, *, now: dt.datetime) -> tuple[OpenSession, ...]:
    """Open sessions of one person, the latest first."""
    query = (
        select(PersonSession)
        .where(PersonSession.person == person, PersonSession.ended_at.is_(None))
        .order_by(PersonSession.began_at.desc())
    )
    return tuple(
        OpenSession(each.digest, each.began_at, each.last_used_at, each.began_by or "")
        for each in session.scalars(query)
        if _is_open(each, now)
    )


def end_session(session: Session, secret: str, *, now: dt.datetime) -> None:
    """Sign out: the secret opens nothing from now on."""
    session.execute(
        update(PersonSession)
        .where(PersonSession.digest == digest_of(secret), PersonSession.ended_at.is_(None))
        .values(ended_at=time_text(now))
    )


def end_sessions(session: Session, person: str, *, now: dt.datetime, but: str = "") -> None:
    """End every session of a person, but for the one of this secret."""
    session.execute(
        update(PersonSession)
        .where(
            PersonSession.person == person,
            PersonSession.ended_at.is_(None),
            PersonSession.digest != (digest_of(but) if but else ""),
        )
        .values(ended_at=time_text(now))
    )


def _is_open(found: PersonSession, now: dt.datetime) -> bool:
    if found.ended_at is not None:
        return False
    return found.last_used_at >= time_text(now - IDLE) and found.began_at >= time_text(now - AT_MOST)
