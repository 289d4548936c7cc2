"""Sheets to write on, as issued, and the lines typed from them; no facts, but no line is ever lost."""

import datetime as dt
from typing import Final

from sqlalchemy import ForeignKey, Index, func, literal_column, text
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base, words

KINDS: Final = ("landings", "wear check", "move slip")
STANDING: Final = "standing"
REPLACED: Final = "replaced"
CONFLICT: Final = "conflict"
POSTED: Final = "posted"
LINE_STATES: Final = (STANDING, REPLACED, CONFLICT, POSTED)


class Sheet(Base):
    """A sheet of one kind, for a base, an aircraft or a work order on a day; `asks` is what it asks for, as issued."""

    __tablename__ = "sheet"

    code: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(words("kind", *KINDS))
    base: Mapped[int | None] = mapped_column(ForeignKey("base.id"))
    day: Mapped[dt.date] = mapped_column(index=True)
    aircraft: Mapped[int | None] = mapped_column(ForeignKey("aircraft.id"))
    work_order: Mapped[str | None]
    asks: Mapped[str]  # JSON
    issued_by: Mapped[str]
    issued_at: Mapped[str]
    posted_by: Mapped[str | None]
    posted_at: Mapped[str | None]


class SheetLine(Base):
    """
    What was typed in one place of a sheet, once: its key is made by the browser and sent again with each retry.

    `seen` are the keys of the lines that stood there when this one was typed, divided by spaces.
    """

    __tablename__ = "sheet_line"

    key: Mapped[str] = mapped_column(primary_key=True)
    sheet: Mapped[str] = mapped_column(ForeignKey("sheet.code"), index=True)
    place: Mapped[str]
    typed: Mapped[str]  # JSON: field to text
    seen: Mapped[str]
    state: Mapped[str] = mapped_column(words("state", *LINE_STATES))
    person: Mapped[str]
    kept_at: Mapped[str]


class SheetCheck(Base):
    """A sheet typed a second time by another person who did not see the first, and in how many places they differ."""

    __tablename__ = "sheet_check"

    sheet: Mapped[str] = mapped_column(ForeignKey("sheet.code"), primary_key=True)
    typed: Mapped[str]  # JSON: place to field to text
    places: Mapped[int]
    differences: Mapped[int]
    person: Mapped[str]
    checked_at: Mapped[str]


# One sheet of landings for a base and a day, whoever opens it first.
Index(
    "uq_sheet_landings",
    func.coalesce(Sheet.base, literal_column("0")),
    Sheet.day,
    unique=True,
    sqlite_where=text("kind = 'landings'"),
    postgresql_where=text("kind = 'landings'"),
)
