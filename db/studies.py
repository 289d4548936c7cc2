"""Studies kept as they were shown."""

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
