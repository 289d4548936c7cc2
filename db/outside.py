"""Who a person is at an identity provider, and sign-ins begun there: issuer and subject together name a person."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from sqlalchemy import delete
from sqlalchemy.orm import Session

from db.errors import LedgerError
from db.people import has_access
from db.records.people import OutsideIdentity, Person, SignInBegun
from db.secrets_kept import digest_of, time_text

BEGUN_LIFE: Final = dt.timedelta(minutes=10)


@dataclass(frozen=True)
class Begun:
    """A sign-in begun at a provider; `person` where somebody who is let in connects it with themselves."""

    verifier: str
    nonce: str
    person: str | None


def keep_begun(session: Session, state: str, begun: Begun, *, now: dt.datetime) -> None:
    """Keep a sign-in until the provider sends its person back."""
    session.execute(delete(SignInBegun).where(SignInBegun.began_at <= time_text(now - BEGUN_LIFE)))
    session.add(
        SignInBegun(
            digest=digest_of(state),
            verifier=begun.verifier,
            nonce=begun.nonce,
            person=begun.person,
            began_at=time_text(now),
        )
    )
    session.flush()


def take_begun(session: Session, state: str, *, now: dt.datetime) -> Begun:
    """Take the sign-in of this state, once; refused where there is none or it is too old."""
    # One statement takes it, so that an answer sent twice at once counts once.
    found = session.execute(
        delete(SignInBegun)
        .where(SignInBegun.digest == digest_of(state), SignInBegun.began_at > time_text(now - BEGUN_LIFE))
        .returning(SignInBegun.verifier, SignInBegun.nonce, SignInBegun.person)
    ).one_or_none()
    if found is None:
        raise LedgerError("this sign-in was not begun here, or too long ago; begin again")
    return Begun(found.verifier, found.nonce, found.person)


def connect(session: Session, person: str, issuer: str, subject: str, *, now: dt.datetime) -> None:
    """From now on, this identity comes in as this person."""
    has_access(session, person)
    kept = session.get(OutsideIdentity, (issuer, subject))
    if kept is not None and kept.person != person:
        raise LedgerError(f"this identity is connected with {kept.person!r} already; sign in as them")
    if kept is None:
        session.add(OutsideIdentity(issuer=issuer, subject=subject, person=person, added_at=time_text(now)))
        session.flush()


def person_at(session: Session, issuer: str, subject: str) -> str | None:
    """The person with access whom this identity is connected with."""
    kept = session.get(OutsideIdentity, (issuer, subject))
    person = session.get(Person, kept.person) if kept is not None else None
    return person.name if person is not None and person.ended_at is None else None
