"""Scores of past forecasts, kept because each takes as long as several studies; no facts."""

import datetime as dt

from sqlalchemy import LargeBinary
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base


class KeptScore(Base):
    """Forecasts made again from so many past days and held against what one study knew."""

    __tablename__ = "kept_score"

    number: Mapped[str] = mapped_column(primary_key=True)
    past_days: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    on: Mapped[dt.date]
    known_seq: Mapped[int]
    kept_at: Mapped[str]
    result: Mapped[bytes] = mapped_column(LargeBinary)  # JSON, compressed
