"""People: who may do something here, and the one-time links that let them in."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from db.access_acts import LINK_LIFE, PROVIDER, SERVICE, UNTOLD, Doer, note_act
from db.errors import LedgerError, NotFoundError
from db.lookup import current
from db.records.fleet import BaseStation
from db.records.people import (
    ROLES,
    ApiToken,
    OneTimeLink,
    OutsideIdentity,
    Person,
    PersonAuthenticator,
    PersonPassword,
    PersonSession,
)
from db.secrets_kept import digest_of, listed, new_secret, time_text
from db.sessions import HANDED_OVER, begin_session, end_sessions

# How a session begins by a link of which way; any other is handed over by somebody else.
OPENS: Final = {SERVICE: "service", PROVIDER: "provider"}
SPENT: Final = "this link was used or has expired; ask an administrator for a new one"


@dataclass(frozen=True)
class KnownPerson:
    """A person as a list of people shows them; `tokens` counts those that work."""

    name: str
    role: str
    bases: tuple[str, ...]
    added_at: str
    last_used_at: str
    ended_at: str
    has_password: bool
    tokens: int


def add_person(  # noqa: PLR0913 - what a person is made of
    session: Session,
    name: str,
    role: str,
    *,
    now: dt.datetime,
    bases: tuple[str, ...] = (),
    by: Doer = UNTOLD,
) -> None:
    """Add someone; no bases means every base."""
    if not name.strip() or name != name.strip() or not name.isprintable():
        raise LedgerError(f"{name!r} is not a name; wanted letters, without spaces around it")
    _check_duties(session, role, bases)
    if session.get(Person, name) is not None:
        raise LedgerError(f"person {name!r} is known already; choose another name, or give access back")
    session.add(Person(name=name, role=role, bases=";".join(bases), added_at=time_text(now), ended_at=None))
    session.flush()
    note_act(session, name, "added", by=by, now=now, told=_duties(role, bases))
    session.flush()


def change_person(  # noqa: PLR0913 - what a person is made of
    session: Session,
    name: str,
    role: str,
    *,
    now: dt.datetime,
    bases: tuple[str, ...] = (),
    by: Doer = UNTOLD,
) -> None:
    """Give somebody another role or other bases, from their next request on; what they were is kept."""
    person = has_access(session, name)
    _check_duties(session, role, bases)
    before, after = _duties(person.role, listed(person.bases)), _duties(role, bases)
    if before == after:
        raise LedgerError(f"{name!r} is {before} already; choose another role or other bases")
    if role != "administrator" or bases:
        _keep_one_administrator(session, person)
    person.role, person.bases = role, ";".join(bases)
    note_act(session, name, "changed", by=by, now=now, told=f"from {before} to {after}")
    session.flush()


def give_back(session: Session, name: str, *, now: dt.datetime, by: Doer = UNTOLD) -> None:
    """Let somebody in again whose access has ended, with role and bases of before; no password or identity of then."""
    person = session.get(Person, name)
    if person is None or person.ended_at is None:
        raise NotFoundError(f"no access of {name!r} has ended; look them up in the list of people")
    person.ended_at = None
    for kept in (PersonPassword, PersonAuthenticator, OutsideIdentity):
        session.execute(delete(kept).where(kept.person == name))
    told = _duties(person.role, listed(person.bases))
    note_act(session, name, "given back", by=by, now=now, told=told)
    session.flush()


def known_bases(session: Session) -> tuple[str, ...]:
    """Bases on record, by name."""
    return tuple(sorted({row.base for row in session.execute(current(BaseStation))}))


def count_people(session: Session) -> int:
    """How many people have access."""
    return session.scalar(select(func.count()).select_from(Person).where(Person.ended_at.is_(None))) or 0


def is_known(session: Session, name: str) -> bool:
    """Whether there is or was a person of this name."""
    return session.get(Person, name) is not None


def sign_out(session: Session, name: str, *, now: dt.datetime, by: Doer = UNTOLD) -> None:
    """End every open session of this person."""
    has_access(session, name)
    end_sessions(session, name, now=now)
    note_act(session, name, "signed out", by=by, now=now)


def list_people(session: Session, *, now: dt.datetime) -> tuple[KnownPerson, ...]:
    """Everybody there ever was, with their last use, by name."""
    last = select(PersonSession.person, func.max(PersonSession.last_used_at)).group_by(PersonSession.person)
    used = {row.person: row[1] for row in session.execute(last).all()}
    working = (
        select(ApiToken.person, func.count())
        .where(ApiToken.ended_at.is_(None), ApiToken.expires_at > time_text(now))
        .group_by(ApiToken.person)
    )
    tokens = {row.person: row[1] for row in session.execute(working).all()}
    with_password = set(session.scalars(select(PersonPassword.person)))
    return tuple(
        KnownPerson(
            each.name,
            each.role,
            listed(each.bases),
            each.added_at,
            used.get(each.name, ""),
            each.ended_at or "",
            each.name in with_password,
            tokens.get(each.name, 0),
        )
        for each in session.scalars(select(Person).order_by(Person.name))
    )


def end_person(session: Session, name: str, *, now: dt.datetime, by: Doer = UNTOLD) -> None:
    """End somebody's access: their sessions, links and tokens with it. The name stays taken, as the log names it."""
    person = has_access(session, name)
    _keep_one_administrator(session, person)
    person.ended_at = time_text(now)
    for kept in (PersonSession, ApiToken):
        session.execute(
            update(kept).where(kept.person == name, kept.ended_at.is_(None)).values(ended_at=time_text(now))
        )
    session.execute(
        update(OneTimeLink)
        .where(OneTimeLink.person == name, OneTimeLink.used_at.is_(None), OneTimeLink.ended_at.is_(None))
        .values(ended_at=time_text(now))
    )
    note_act(session, name, "ended", by=by, now=now)
    session.flush()


def end_all_ways_in(session: Session, *, now: dt.datetime) -> None:
    """End every session, link and token; people and their passwords stay."""
    for kept in (PersonSession, ApiToken):
        session.execute(update(kept).where(kept.ended_at.is_(None)).values(ended_at=time_text(now)))
    session.execute(
        update(OneTimeLink)
        .where(OneTimeLink.used_at.is_(None), OneTimeLink.ended_at.is_(None))
        .values(ended_at=time_text(now))
    )


def issue_link(
    session: Session, name: str, *, now: dt.datetime, by: Doer = UNTOLD, resets: bool = False
) -> str:
    """A secret that lets this person in once, within half an hour; `resets`: a password is set anew by it."""
    has_access(session, name)
    secret = new_secret()
    session.add(
        OneTimeLink(
            digest=digest_of(secret),
            person=name,
            expires_at=time_text(now + LINK_LIFE),
            made_at=time_text(now),
            made_by=by.name,
            way=by.way,
            resets=resets,
        )
    )
    session.flush()
    return secret


def link_person(session: Session, secret: str, *, now: dt.datetime) -> str:
    """Whose one-time link this is, without using it; refused where it was used or has expired."""
    found = session.get(OneTimeLink, digest_of(secret))
    if found is None or (found.used_at or found.ended_at) or found.expires_at <= time_text(now):
        raise NotFoundError(SPENT)
    return found.person


def use_link(session: Session, secret: str, *, now: dt.datetime) -> str:
    """Turn a one-time link into a session; returns the session's secret."""
    # One statement decides who used it first, so that two requests at once open one session between them.
    used = session.execute(
        update(OneTimeLink)
        .where(
            OneTimeLink.digest == digest_of(secret),
            OneTimeLink.used_at.is_(None),
            OneTimeLink.ended_at.is_(None),
            OneTimeLink.expires_at > time_text(now),
        )
        .values(used_at=time_text(now))
        .returning(OneTimeLink.person, OneTimeLink.way)
    ).one_or_none()
    if used is None:
        raise NotFoundError(SPENT)
    by = OPENS.get(used.way or "", HANDED_OVER)
    return begin_session(session, used.person, by=by, now=now, link=digest_of(secret))


def check_writer(session: Session, name: str) -> None:
    """Refuse a name that a command would write in, where people are on record and this is none with access."""
    query = select(Person.name).where(Person.ended_at.is_(None)).order_by(Person.name)
    inside = session.scalars(query).all()
    if inside and name not in inside:
        raise LedgerError(
            f"{name!r} has no access here, and a command writes in the name of somebody who has; "
            f"say --person NAME, one of {', '.join(inside)}"
        )


def note_password(session: Session, link: str, *, now: dt.datetime) -> None:
    """Keep when a password was set in a session that this link (its digest) began; it resets no more."""
    session.execute(
        update(OneTimeLink)
        .where(OneTimeLink.digest == link, OneTimeLink.password_at.is_(None))
        .values(password_at=time_text(now))
    )


def has_access(session: Session, name: str) -> Person:
    """The person of this name; refused where there is none or their access has ended."""
    person = session.get(Person, name)
    if person is None or person.ended_at is not None:
        raise NotFoundError(f"person {name!r} has no access here; add the person first")
    return person


def _keep_one_administrator(session: Session, person: Person) -> None:
    # Locked, so that two administrators who end each other at once leave one. One of some bases manages no people.
    query = select(Person).where(
        Person.role == "administrator", Person.ended_at.is_(None), Person.bases == ""
    )
    if [each.name for each in session.scalars(query.with_for_update())] == [person.name]:
        raise LedgerError(f"{person.name!r} is the only administrator of every base; add another first")


def _check_duties(session: Session, role: str, bases: tuple[str, ...]) -> None:
    if role not in ROLES:
        raise LedgerError(f"{role!r} is not a role; wanted one of {', '.join(ROLES)}")
    known = known_bases(session)
    for base in bases:
        if base not in known:
            raise LedgerError(f"no base {base!r} is on record; known are {', '.join(known) or 'none'}")


def _duties(role: str, bases: tuple[str, ...]) -> str:
    return f"{role}, {', '.join(bases) or 'every base'}"
