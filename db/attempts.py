"""Attempts to sign in, counted in the database by name and by address, so that every process counts together."""

import datetime as dt
import secrets
from typing import Final

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from db.records.people import SignInAttempt
from db.secrets_kept import time_text

WINDOW: Final = dt.timedelta(minutes=15)
MOST_BY_NAME: Final = 10
MOST_BY_ADDRESS: Final = 50


def note_attempt(session: Session, *, name: str, address: str, now: dt.datetime) -> bool:
    """
    Write an attempt down before it is tried, and say whether it may be tried at all.

    Written first and committed by the caller, many attempts at once cannot all be below the limit. A refused attempt
    counts too; a one-time link lets in the person whose name somebody else wears out.
    """
    session.execute(delete(SignInAttempt).where(SignInAttempt.at <= time_text(now - WINDOW)))
    subjects = {_by_name(name): MOST_BY_NAME, f"address {address}": MOST_BY_ADDRESS}
    session.add_all(
        SignInAttempt(id=secrets.token_hex(16), subject=subject, at=time_text(now)) for subject in subjects
    )
    session.flush()
    counted = select(SignInAttempt.subject, func.count()).where(SignInAttempt.subject.in_(subjects))
    found = session.execute(counted.group_by(SignInAttempt.subject)).all()
    return all(count <= subjects[subject] for subject, count in found)


def forget_attempts(session: Session, name: str) -> None:
    """Forget the attempts by a name that has now signed in; those of the address stay."""
    session.execute(delete(SignInAttempt).where(SignInAttempt.subject == _by_name(name)))


def _by_name(name: str) -> str:
    return f"name {name[:200]}"
