"""Editions: briefs of a retrofit kept as they were shown."""

import datetime as dt

from sqlalchemy.orm import Mapped

from db.base import Fact


class EditionEntry(Fact):
    """A brief frozen whole: what it was asked, of which records, and what it showed, as JSON text."""

    __tablename__ = "edition"

    title: Mapped[str]
    from_type: Mapped[str]
    to_type: Mapped[str]
    study: Mapped[str]
    forecast_on: Mapped[dt.date]
    records_known_on: Mapped[dt.date]
    records_head: Mapped[str]  # of the log that the study read
    seed: Mapped[int]
    shown: Mapped[str]  # canonical JSON: keys sorted, no white space, numbers by their shortest text
