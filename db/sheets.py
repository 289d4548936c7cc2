"""Sheets as issued and the lines kept of them."""

import datetime as dt
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, or_, select
from sqlalchemy.orm import Session

from db.errors import NotFoundError
from db.fleet_on import registrations_of
from db.records.fleet import BaseStation
from db.records.sheets import CONFLICT, REPLACED, STANDING, Sheet, SheetLine
from db.sheet_code import code_typed


def order(line: SheetLine) -> tuple[bool, str, str]:
    """Return by what lines of a place are ordered; of lines of one second, those in conflict came later."""
    return line.state == CONFLICT, line.kept_at, line.key


@dataclass(frozen=True)
class IssuedSheet:
    """A sheet as issued; base, registration and work order are empty where it has none."""

    code: str
    kind: str
    base: str
    day: dt.date
    registration: str
    work_order: str
    asks: Mapping[str, Any]
    issued_by: str
    issued_at: str
    posted_by: str
    posted_at: str

    @property
    def state(self) -> str:
        """`issued` until it is typed back, then `posted`."""
        return "posted" if self.posted_at else "issued"


@dataclass(frozen=True)
class KeptLine:
    """One line as typed in a place of a sheet, by whom; `state` is standing, replaced, conflict or posted."""

    key: str
    place: str
    typed: Mapping[str, str]
    state: str
    person: str
    kept_at: str


def sheet_by_code(session: Session, code: str) -> IssuedSheet:
    """Return the sheet with a code as typed: SheetCodeError where it can be none, NotFoundError where it is unknown."""
    wanted = code_typed(code)
    found = session.get(Sheet, wanted)
    if found is None:
        raise NotFoundError(
            f"no sheet {wanted} was issued here; check the code, or open the page by base and day"
        )
    return issued(session, found)


def landings_sheet(session: Session, base: str, day: dt.date) -> IssuedSheet | None:
    """Return the sheet of a base's landings on a day, None where none was issued; "" is for aircraft of no base."""
    of_base = Sheet.base.is_(None)
    if base:
        of_base = Sheet.base.in_(select(BaseStation.fact).where(BaseStation.base == base))
    found = _issued_all(session, select(Sheet).where(Sheet.kind == "landings", of_base, Sheet.day == day))
    return found[0] if found else None


def lines_of(session: Session, code: str, *, replaced: bool = False) -> tuple[KeptLine, ...]:
    """Return the lines of a sheet in the order in which they came, conflicts last, replaced ones on demand."""
    every = session.scalars(select(SheetLine).where(SheetLine.sheet == code))
    return in_order(every, replaced=replaced)


def in_order(lines: Iterable[SheetLine], *, replaced: bool = False) -> tuple[KeptLine, ...]:
    """Return lines as `lines_of` does."""
    return tuple(_line(each) for each in sorted(lines, key=order) if replaced or each.state != REPLACED)


def sheets_waiting(session: Session) -> tuple[IssuedSheet, ...]:
    """Return the sheets that are not posted, or have lines that came after they were, the oldest day first."""
    late = select(SheetLine.sheet).where(SheetLine.state == STANDING)
    waiting = select(Sheet).where(or_(Sheet.posted_at.is_(None), Sheet.code.in_(late)))
    return _issued_all(session, waiting.order_by(Sheet.day, Sheet.code))


def sheets_in_conflict(session: Session) -> tuple[IssuedSheet, ...]:
    """Return the sheets with a place that two devices filled in differently, the oldest day first."""
    places = select(SheetLine.sheet).where(SheetLine.state == CONFLICT)
    return _issued_all(session, select(Sheet).where(Sheet.code.in_(places)).order_by(Sheet.day, Sheet.code))


def issued(session: Session, sheet: Sheet) -> IssuedSheet:
    """Return a sheet in words."""
    return _told(session, [sheet])[0]


def _issued_all(session: Session, wanted: Select[Sheet]) -> tuple[IssuedSheet, ...]:
    return _told(session, session.scalars(wanted).all())


def _told(session: Session, sheets: Sequence[Sheet]) -> tuple[IssuedSheet, ...]:
    based, craft = ({getattr(each, name) for each in sheets} - {None} for name in ("base", "aircraft"))
    named = select(BaseStation.fact, BaseStation.base).where(BaseStation.fact.in_(based))
    bases = {row.fact: row.base for row in session.execute(named)} if based else {}
    called = registrations_of(session, craft) if craft else {}
    return tuple(
        IssuedSheet(
            code=each.code,
            kind=each.kind,
            base=bases.get(each.base, "") if each.base else "",
            day=each.day,
            registration=called.get(each.aircraft, "") if each.aircraft else "",
            work_order=each.work_order or "",
            asks=json.loads(each.asks),
            issued_by=each.issued_by,
            issued_at=each.issued_at,
            posted_by=each.posted_by or "",
            posted_at=each.posted_at or "",
        )
        for each in sheets
    )


def _line(each: SheetLine) -> KeptLine:
    return KeptLine(each.key, each.place, json.loads(each.typed), each.state, each.person, each.kept_at)
