"""Studies kept as they were shown."""

import datetime as dt

from sqlalchemy.orm import Session

from db.lookup import Known
from db.records.log import KeptStudy


def kept(session: Session, number: str) -> bool:
    """Whether a study of that number is kept."""
    return session.get(KeptStudy, number) is not None


def keep(session: Session, number: str, *, on: dt.date, known: Known, seed: int, results: bytes) -> None:
    """Keep a study; another process may have kept the same one meanwhile, and then it is the same."""
    if kept(session, number):
        return
    session.add(
        KeptStudy(
            number=number,
            on=on,
            known_on=known.day,
            known_seq=known.seq,
            seed=seed,
            kept_at=dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
            results=results,
        )
    )
    session.flush()
