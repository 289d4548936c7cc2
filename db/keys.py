"""
Keys of writes: a write that comes again with its key gets the answer it got, and is not done again.

The key is taken before the write and its answer kept in the same transaction, so there is never one without the other.
Of two at once with one key, the second waits here until the first is done.
"""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from db.base import table_of
from db.errors import KeyReusedError, LedgerError, TooManyWritesError
from db.records.log import AnsweredKey
from db.secrets_kept import time_text

KEPT_FOR: Final = dt.timedelta(days=7)
LONGEST: Final = 200
# Several times what a clerk's hands or a resent day of lines can bring; rows go many to a write.
MOST_WRITES: Final = 600
WINDOW: Final = dt.timedelta(minutes=1)


@dataclass(frozen=True)
class Answered:
    """The answer that a write got."""

    status: int
    answer: bytes


def take_key(session: Session, person: str, key: str, *, asked: str, now: dt.datetime) -> Answered | None:
    """
    Take a key for a write; what is returned is the answer of the same write done before.

    `asked` is a digest of what is asked. A key older than seven days is as new. The keys that a person took lately are
    counted too: in the database, so that every process counts together and a restart forgets nothing.
    """
    if not 0 < len(key) <= LONGEST or not key.isprintable():
        raise LedgerError(
            f"{key[:40]!r} is no key; wanted 1 to {LONGEST} printable characters, such as a UUID"
        )
    session.execute(delete(AnsweredKey).where(AnsweredKey.answered_at < time_text(now - KEPT_FOR)))
    found = _answered(session, person, key, asked)
    if found is None:
        _refuse_too_many(session, person, now)
        row = {"person": person, "key": key, "asked": asked, "status": 0, "answer": b""}
        try:
            with session.begin_nested():
                session.execute(insert(table_of(AnsweredKey)), {**row, "answered_at": time_text(now)})
        except IntegrityError:
            found = _answered(session, person, key, asked)
    return found


def keep_answer(session: Session, person: str, key: str, answered: Answered) -> None:
    """Keep the answer of the write that took this key."""
    mine = (AnsweredKey.person == person, AnsweredKey.key == key)
    session.execute(update(AnsweredKey).where(*mine).values(status=answered.status, answer=answered.answer))


def _refuse_too_many(session: Session, person: str, now: dt.datetime) -> None:
    lately = select(func.count()).where(
        AnsweredKey.person == person, AnsweredKey.answered_at > time_text(now - WINDOW)
    )
    if session.execute(lately).scalar_one() >= MOST_WRITES:
        raise TooManyWritesError(
            f"{person!r} wrote {MOST_WRITES} times within a minute, the most that is taken; "
            "wait a minute, and send several rows in one write"
        )


def _answered(session: Session, person: str, key: str, asked: str) -> Answered | None:
    found = session.execute(
        select(AnsweredKey.asked, AnsweredKey.status, AnsweredKey.answer).where(
            AnsweredKey.person == person, AnsweredKey.key == key
        )
    ).one_or_none()
    if found is not None and found.asked != asked:
        raise KeyReusedError(
            f"the key {key!r} was used for something else within seven days; give each write a key of its own"
        )
    return Answered(found.status, found.answer) if found else None
