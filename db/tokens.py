"""API tokens: for one person, no wider than they, for certain actions and bases, until a day; shown once."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from db.access_acts import UNTOLD, Doer, note_act
from db.errors import LedgerError, NotFoundError
from db.people import has_access
from db.records.people import ApiToken, Person
from db.secrets_kept import digest_of, listed, new_secret, time_text
from db.sessions import GRAIN, LetIn

LONGEST = dt.timedelta(days=365)
NAMED = 12  # characters of the digest that name a token to its owner


@dataclass(frozen=True)
class KnownToken:
    """A token as its owner sees it; `name` is the start of its digest and opens nothing."""

    name: str
    label: str
    scope: tuple[str, ...]
    bases: tuple[str, ...]
    expires_at: str
    last_used_at: str


def issue_token(  # noqa: PLR0913 - what a token is made of
    session: Session,
    person: str,
    *,
    label: str,
    scope: tuple[str, ...],
    bases: tuple[str, ...],
    days: int,
    now: dt.datetime,
) -> str:
    """Make a token; returns its secret, which is not kept. A token without bases reaches as far as its person."""
    owner = has_access(session, person)
    if not label.strip():
        raise LedgerError("the token has no name; say what it is for")
    if not scope:
        raise LedgerError("the token may do nothing; choose at least one thing that it may do")
    if not 1 <= days <= LONGEST.days:
        raise LedgerError(f"{days} days is too long or too short for a token; wanted 1 to {LONGEST.days}")
    own = listed(owner.bases)
    outside = [base for base in bases if own and base not in own]
    if outside:
        raise LedgerError(f"{person!r} has no access at {', '.join(outside)}; choose among {', '.join(own)}")
    secret = new_secret()
    session.add(
        ApiToken(
            digest=digest_of(secret),
            person=person,
            label=label.strip(),
            scope=";".join(scope),
            bases=";".join(bases),
            made_at=time_text(now),
            expires_at=time_text(now + dt.timedelta(days=days)),
            last_used_at=None,
            ended_at=None,
        )
    )
    session.flush()
    return secret


def person_of(session: Session, secret: str, *, now: dt.datetime) -> LetIn | None:
    """Who bears this token, if it has not ended or expired; their role and bases are asked anew each time."""
    found = session.get(ApiToken, digest_of(secret))
    if found is None or found.ended_at is not None or found.expires_at <= time_text(now):
        return None
    person = session.get(Person, found.person)
    if person is None or person.ended_at is not None:
        return None
    own, narrowed = listed(person.bases), listed(found.bases)
    bases = tuple(base for base in narrowed if base in own) if own and narrowed else own or narrowed
    if own and narrowed and not bases:
        return None
    stale = found.last_used_at is None or time_text(now - GRAIN) > found.last_used_at
    return LetIn(person.name, person.role, bases, stale, scope=listed(found.scope))


def note_use(session: Session, secret: str, *, now: dt.datetime) -> None:
    """Write down that a token was used just now."""
    session.execute(
        update(ApiToken).where(ApiToken.digest == digest_of(secret)).values(last_used_at=time_text(now))
    )


def list_tokens(session: Session, person: str, *, now: dt.datetime) -> tuple[KnownToken, ...]:
    """Tokens of one person that still work."""
    query = (
        select(ApiToken)
        .where(ApiToken.person == person, ApiToken.ended_at.is_(None), ApiToken.expires_at > time_text(now))
        .order_by(ApiToken.made_at, ApiToken.digest)
    )
    return tuple(
        KnownToken(
            each.digest[:NAMED],
            each.label,
            listed(each.scope),
            listed(each.bases),
            each.expires_at,
            each.last_used_at or "",
        )
        for each in session.scalars(query)
    )


def end_tokens(session: Session, person: str, *, now: dt.datetime, by: Doer = UNTOLD) -> None:
    """End every token of a person that still works; who did it is kept where there were some."""
    has_access(session, person)
    ended = session.execute(
        update(ApiToken)
        .where(ApiToken.person == person, ApiToken.ended_at.is_(None), ApiToken.expires_at > time_text(now))
        .values(ended_at=time_text(now))
        .returning(ApiToken.digest)
    ).all()
    if ended:
        note_act(session, person, "tokens ended", by=by, now=now, told=str(len(ended)))


def end_token(session: Session, person: str, name: str, *, now: dt.datetime) -> None:
    """End one of a person's own tokens."""
    ended = session.execute(
        update(ApiToken)
        .where(
            ApiToken.person == person,
            ApiToken.digest.startswith(name, autoescape=True),
            ApiToken.ended_at.is_(None),
        )
        .values(ended_at=time_text(now))
        .returning(ApiToken.digest)
    ).all()
    if len(name) != NAMED or len(ended) != 1:
        raise NotFoundError(f"{person!r} has no token {name!r}; choose one of the list")
