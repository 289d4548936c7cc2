"""The sheet of a base's landings on a day: opened once, and posted with what was typed, whole or not at all."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy.orm import Session

from db.entry.sheets import SheetAsked, issue_sheet
from db.landing_lines import AircraftLine, lines_of_base
from db.lookup import base_ids
from db.sheets import IssuedSheet, landings_sheet

COUNT: Final = "count"
TOTAL: Final = "total"


@dataclass(frozen=True)
class Keeper:
    """Who keeps something, and when."""

    person: str
    now: dt.datetime


def open_landings_sheet(  # noqa: PLR0913 - what is issued, and by whom
    session: Session,
    base: str,
    day: dt.date,
    asks: str,
    *,
    by: Keeper,
    lines: Sequence[AircraftLine] | None = None,
) -> IssuedSheet:
    """
    Return the sheet of this base and day, issued now if it was not before; `asks` is "count" or "total".

    `lines` are those that it is issued with, where they were read a moment ago.
    """
    before = landings_sheet(session, base, day)
    if before is not None:
        return before
    if lines is None:
        lines = lines_of_base(session, base_ids(session).get(base), day)
    asked = {
        "asks": asks,
        "lines": [{"aircraft": each.aircraft, "registration": each.registration} for each in lines],
    }
    return issue_sheet(session, SheetAsked("landings", day, base=base), asked, person=by.person, now=by.now)


def lines_of_sheet(
    session: Session, base: str, day: dt.date, sheet: IssuedSheet | None
) -> tuple[AircraftLine, ...]:
    """Return the lines of the base on the day, and those that were on the sheet as issued."""
    as_issued = {int(each["aircraft"]) for each in sheet.asks["lines"]} if sheet else set()
    return lines_of_base(session, base_ids(session).get(base), day, also=as_issued)
