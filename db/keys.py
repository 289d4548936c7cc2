"""
Keys of writes: a write that comes again with its key gets the answer it got, and is not done again.

The key is taken before the write and its answer kept in the same transaction, so there is never one without the other.
Of two at once with one key, the second waits here until the first is done.
"""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from sqlalchemy import delete, insert, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from db.base import table_of
from db.errors import KeyReusedError, LedgerError
from db.records.log import AnsweredKey
from db.secrets_kept import time_text

KEPT_FOR: Final = dt.timedelta(days=7)
LONGEST: Final = 200


@dataclass(frozen=True)
class Answered:
    """The answer that a write got."""

    status: int
    answer: bytes


def take_key(session: Session, person: str, key: str, *, asked: str, now: dt.datetime) -> Answered | None:
    """
    Take a key for a write; what is returned is the answer of the same write done before.

    `asked` is a digest of what is asked. A key older than seven days is as new.
    """
    if not 0 < len(key) <= LONGEST or not key.isprintable():
        raise LedgerError(
            f"{key[:40]!r} is no key; wanted 1 to {LONGEST} printable characters, such as a UUID"
        )
    session.execute(delete(AnsweredKey).where(AnsweredKey.answered_at < time_text(now - KEPT_FOR)))
    found = _answered(session, person, key, asked)
    if found is None:
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
