"""Scores of past forecasts as they were kept."""

import datetime as dt

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.records.scores import KeptScore


def kept_score(session: Session, number: str, past_days: int) -> KeptScore | None:
    """The score of a study from so many past days, None where it was not made."""
    return session.get(KeptScore, (number, past_days))


def last_score(session: Session, number: str, *, on: dt.date, seq: int) -> KeptScore | None:
    """The study's own score from most past days; else the latest of a study of no more records and no later day."""
    own = select(KeptScore).where(KeptScore.number == number).order_by(KeptScore.past_days.desc())
    earlier = (
        select(KeptScore)
        .where(KeptScore.known_seq <= seq, KeptScore.on <= on)
        .order_by(KeptScore.known_seq.desc(), KeptScore.on.desc(), KeptScore.past_days.desc())
    )
    return session.scalars(own.limit(1)).first() or session.scalars(earlier.limit(1)).first()


def keep_score(session: Session, score: KeptScore) -> None:
    """Keep a score; another process may have kept the same one meanwhile, and then it is the same."""
    if kept_score(session, score.number, score.past_days) is None:
        session.add(score)
        session.flush()
