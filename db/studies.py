"""Studies kept as they were shown."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.errors import NotFoundError
from db.records.log import Change, KeptStudy

SHORTEST_HEAD: Final = 12


def kept(session: Session, number: str) -> bool:
    """Whether a study of that number is kept."""
    return session.get(KeptStudy, number) is not None


def hash_at(session: Session, seq: int) -> str:
    """The chain's hash as of a sequence number; "" before the first change."""
    return session.scalar(select(Change.hash).where(Change.seq == seq)) or ""


def seq_of(session: Session, head: str) -> int:
    """Return the sequence number of the change whose hash begins so, as a head that was printed once."""
    head = "".join(head.split()).lower()
    found = session.scalars(select(Change.seq).where(Change.hash.startswith(head, autoescape=True)).limit(2))
    numbers = found.all() if len(head) >= SHORTEST_HEAD else ()
    if len(numbers) != 1:
        raise NotFoundError(
            f"no one change of the log has a hash that begins with {head!r}; give the head as it is printed, at least "
            f"its first {SHORTEST_HEAD} characters"
        )
    return numbers[0]


def head_now(session: Session) -> str:
    """The head of the log as it stands; "" before the first change."""
    return session.scalar(select(Change.hash).order_by(Change.seq.desc()).limit(1)) or ""


def keep(session: Session, study: KeptStudy) -> None:
    """Keep a study; another process may have kept the same one meanwhile, and then it is the same."""
    if not kept(session, study.number):
        session.add(study)
        session.flush()


@dataclass(frozen=True)
class KeptDay:
    """A study that was kept: its number, the day it forecast from, and when it was kept."""

    number: str
    on: dt.date
    kept_at: str


def kept_days(session: Session, seq: int, *, before: dt.date) -> Sequence[KeptDay]:
    """Studies kept of the ledger up to a sequence number, of earlier days, in the order in which they were kept."""
    asked = (
        select(KeptStudy.number, KeptStudy.on, KeptStudy.kept_at)
        .where(KeptStudy.known_seq <= seq, KeptStudy.on < before)
        .order_by(KeptStudy.kept_at, KeptStudy.number)
    )
    return [KeptDay(number, on, kept_at) for number, on, kept_at in session.execute(asked)]


def kept_results(session: Session, number: str) -> bytes:
    """What a kept study gave, as it was shown: compressed JSON."""
    return session.scalars(select(KeptStudy.results).where(KeptStudy.number == number)).one()


def kept_before(session: Session, number: str, *, on: dt.date) -> KeptStudy | None:
    """Return the last study kept of fewer records than this one, from no later day; None where there is none."""
    this = session.get(KeptStudy, number)
    if this is None:
        return None
    earlier = select(KeptStudy).where(KeptStudy.known_seq < this.known_seq, KeptStudy.on <= on)
    return session.scalars(earlier.order_by(KeptStudy.known_seq.desc(), KeptStudy.on.desc()).limit(1)).first()


def kept_study(session: Session, number: str) -> KeptStudy | None:
    """What the study of this number was asked; None where it is not kept."""
    return session.get(KeptStudy, number)
