"""Passwords: Argon2id digests, checked in the same time whether or not the name is known."""

import datetime as dt
import threading
from functools import cache
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from sqlalchemy.orm import Session
from zxcvbn import zxcvbn

from db.errors import LedgerError
from db.people import has_access
from db.records.people import Person, PersonPassword
from db.secrets_kept import time_text

SHORTEST: Final = 15
LONGEST: Final = 256
STRONG_ENOUGH: Final = 3  # of 0 to 4, the library's own scale: "safely unguessable: moderate protection"
COMPARED: Final = 72  # characters that the estimate looks at; its time grows fast with more
# Words of this place that everybody would try first, beside the person's own name.
OWN_WORDS: Final = (
    "pinledger",
    "brake",
    "brakes",
    "aircraft",
    "landing",
    "ledger",
    "clerk",
    "planner",
    "administrator",
)
SHORTEST_WORD: Final = 3  # of a name; a shorter one stands in many words
LEAST_REST: Final = 5  # letters and digits beside those words; common practice, no source
# RFC 9106, second recommended option: 64 MiB, 3 passes, 4 lanes; the library's own default.
_hasher: Final = PasswordHasher()
# Each digest takes 64 MiB; a burst of attempts must not take all memory.
_room: Final = threading.BoundedSemaphore(2)


def set_password(session: Session, person: str, password: str, *, now: dt.datetime) -> None:
    """Keep a new password, if it is long enough and not one that is tried first."""
    has_access(session, person)
    _check_strength(person, password)
    with _room:
        digest = _hasher.hash(password)
    kept = session.get(PersonPassword, person)
    if kept is None:
        session.add(PersonPassword(person=person, hash=digest, set_at=time_text(now)))
    else:
        kept.hash, kept.set_at = digest, time_text(now)
    session.flush()


def has_password(session: Session, person: str) -> bool:
    """Whether this person has set one."""
    return session.get(PersonPassword, person) is not None


def is_password(session: Session, person: str, password: str) -> bool:
    """Whether this is the password of this person, who has access. Only reads."""
    known, kept = session.get(Person, person), session.get(PersonPassword, person)
    real = kept is not None and known is not None and known.ended_at is None
    digest = kept.hash if kept is not None else _nobodys()
    try:
        with _room:
            _hasher.verify(digest, password[: LONGEST + 1])
    except VerificationError:
        return False
    return real


def _check_strength(person: str, password: str) -> None:
    if not SHORTEST <= len(password) <= LONGEST:
        raise LedgerError(
            f"the password has {len(password)} characters; wanted {SHORTEST} to {LONGEST}, a short sentence will do"
        )
    if _own_rest(person, password) < LEAST_REST:
        raise LedgerError(
            "the password is made of your own name or of words of this place; choose words that do not belong together"
        )
    found = zxcvbn(password[:COMPARED], user_inputs=[person, *OWN_WORDS], max_length=COMPARED)
    if found["score"] < STRONG_ENOUGH:
        why = found["feedback"]["warning"] or "it is made of words or patterns that are tried first"
        raise LedgerError(
            f"the password is easily guessed ({why.rstrip('.')}); choose words that do not belong together"
        )


def _own_rest(person: str, password: str) -> int:
    """Letters and digits that are left once the own name and words of this place are taken out, however often."""
    name = person.casefold()
    own = {name, *(word for word in name.split() if len(word) >= SHORTEST_WORD), *OWN_WORDS}
    rest = password.casefold()
    for word in sorted(own, key=len, reverse=True):
        rest = rest.replace(word, " ")
    return sum(map(str.isalnum, rest))


@cache
def _nobodys() -> str:
    return _hasher.hash("nobody has this password")
