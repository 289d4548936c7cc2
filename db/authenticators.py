"""An optional second factor: time-based one-time passwords (RFC 6238), each usable once."""

import datetime as dt
import hmac
from typing import Final

import pyotp
from sqlalchemy import update
from sqlalchemy.orm import Session

from db.errors import LedgerError
from db.records.people import PersonAuthenticator
from db.secrets_kept import time_text

STEP_SECONDS: Final = 30
# The code before the present one still counts: a code is typed after it was read (RFC 6238, section 5.2).
STEPS: Final = (0, -1)
ISSUER: Final = "Pinledger"


def begin_authenticator(session: Session, person: str, *, now: dt.datetime) -> str:
    """Make a seed for this person's authenticator; it counts once a code of it has been given."""
    kept = session.get(PersonAuthenticator, person)
    if kept is not None and kept.confirmed:
        raise LedgerError(f"{person!r} has an authenticator already; take it away before adding another")
    if kept is None:
        kept = PersonAuthenticator(person=person, confirmed=False)
        session.add(kept)
    kept.secret, kept.last_step, kept.added_at = pyotp.random_base32(), 0, time_text(now)
    session.flush()
    return kept.secret


def authenticator_address(person: str, secret: str) -> str:
    """The otpauth: address that an authenticator takes."""
    return pyotp.TOTP(secret).provisioning_uri(name=person, issuer_name=ISSUER)


def confirm_authenticator(session: Session, person: str, code: str, *, now: dt.datetime) -> None:
    """From now on this person gives a code when signing in."""
    kept = session.get(PersonAuthenticator, person)
    if kept is None or not use_code(session, person, code, now=now):
        raise LedgerError("the code does not fit; read the present one and check the clock of the device")
    kept.confirmed = True
    session.flush()


def has_authenticator(session: Session, person: str) -> bool:
    """Whether this person must give a code."""
    kept = session.get(PersonAuthenticator, person)
    return kept is not None and kept.confirmed


def use_code(session: Session, person: str, code: str, *, now: dt.datetime) -> bool:
    """Whether the code fits now and was not used before; using it makes it and all before it useless."""
    kept = session.get(PersonAuthenticator, person)
    if kept is None:
        return False
    present = int(now.timestamp()) // STEP_SECONDS
    given = code.replace(" ", "").encode()
    for step in (present + each for each in STEPS):
        if hmac.compare_digest(pyotp.TOTP(kept.secret).generate_otp(step).encode(), given):
            return _take_step(session, person, step)
    return False


def remove_authenticator(session: Session, person: str) -> None:
    """Take the second factor away."""
    kept = session.get(PersonAuthenticator, person)
    if kept is not None:
        session.delete(kept)
        session.flush()


def _take_step(session: Session, person: str, step: int) -> bool:
    # One statement decides, so that the same code sent twice at once is taken once.
    taken = session.scalar(
        update(PersonAuthenticator)
        .where(PersonAuthenticator.person == person, PersonAuthenticator.last_step < step)
        .values(last_step=step)
        .returning(PersonAuthenticator.person)
    )
    return taken is not None
