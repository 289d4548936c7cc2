"""Studies kept as they were shown."""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.records.log import Change, KeptStudy


def kept(session: Session, number: str) -> bool:
    """Whether a study of that number is kept."""
    return session.get(KeptStudy, number) is not None


def hash_at(session: Session, seq: int) -> str:
    """The chain's hash as of a sequence number; "" before the first change."""
    return session.scalar(select(Change.hash).where(Change.seq == seq)) or ""


def keep(session: Session, study: KeptStudy) -> None:
    """Keep a study; another process may have kept the same one meanwhile, and then it is the same."""
    if not kept(session, study.number):
        session.add(study)
        session.flush()


def all_kept(session: Session, seq: int) -> Sequence[KeptStudy]:
    """Every study kept of the ledger up to a sequence number, in the order in which they were kept."""
    asked = select(KeptStudy).where(KeptStudy.known_seq <= seq)
    return session.scalars(asked.order_by(KeptStudy.kept_at, KeptStudy.number)).all()


def kept_before(session: Session, number: str, *, on: dt.date) -> KeptStudy | None:
    """Return the last study kept of fewer records than this one, from no later day; None where there is none."""
    this = session.get(KeptStudy, number)
    if this is None:
        return None
    earlier = select(KeptStudy).where(KeptStudy.known_seq < this.known_seq, KeptStudy.on <= on)
    return session.scalars(earlier.order_by(KeptStudy.known_seq.desc(), KeptStudy.on.desc()).limit(1)).first()
