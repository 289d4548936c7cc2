"""The log: changes in commit order, each with its canonical bytes and its link in the hash chain."""

import datetime as dt

from sqlalchemy import CheckConstraint, LargeBinary
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base


class Change(Base):
    """One change: who did what, when, and the exact bytes that the chain covers (kept compressed)."""

    __tablename__ = "change"

    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    recorded_at: Mapped[
        str
    ]  # UTC, ISO 8601 with seconds; text, so that both databases keep the same characters
    recorded_on: Mapped[dt.date] = mapped_column(index=True)
    person: Mapped[str]
    source: Mapped[
        str
    ]  # form, api or command (import by older ones), and what came in: "command import landings.csv"
    act: Mapped[str]
    facts: Mapped[int]
    body: Mapped[bytes] = mapped_column(LargeBinary)
    previous: Mapped[str]
    hash: Mapped[str] = mapped_column(unique=True)


class ChainHead(Base):
    """The one row that every writer locks last: the next sequence and record numbers come from it."""

    __tablename__ = "chain_head"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    seq: Mapped[int]
    record: Mapped[int]
    hash: Mapped[str]


class AnsweredKey(Base):
    """An idempotency key with the digest of what was asked and the answer given, kept seven days."""

    __tablename__ = "answered_key"

    key: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(primary_key=True)
    asked: Mapped[str]
    status: Mapped[int]
    answer: Mapped[bytes] = mapped_column(LargeBinary)
    answered_at: Mapped[str] = mapped_column(index=True)


class KeptStudy(Base):
    """A study as it was shown: what it was asked, and the refit and forecasts it gave."""

    __tablename__ = "kept_study"

    number: Mapped[str] = mapped_column(primary_key=True)
    on: Mapped[dt.date]
    known_on: Mapped[dt.date]
    known_seq: Mapped[int]
    seed: Mapped[int]
    kept_at: Mapped[str]
    results: Mapped[bytes] = mapped_column(LargeBinary)  # canonical JSON, compressed
