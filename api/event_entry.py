"""Events and inspections as typed, turned into rows of the file of events."""

import datetime as dt
import re
from collections.abc import Mapping
from typing import Final

from api.forms import day_typed
from db.errors import RowsRefusedError
from db.notices import INSPECTION, Notice

EVENT_FIELDS: Final = ("event", "speed_kt", "mass_kg", "work_order", "note")
DIVIDED: Final = re.compile(r"[;,\s]+")


class WrongFieldsError(Exception):
    """Fields that cannot be taken as typed; `wrong` says why, by field."""

    def __init__(self, wrong: Mapping[str, str]) -> None:
        super().__init__(wrong)
        self.wrong = wrong


def event_rows(typed: Mapping[str, str], *, today: dt.date) -> list[dict[str, str]]:
    """Return one row a position named, or one for the whole aircraft."""
    given = {name: typed.get(name, "").strip() for name in ("registration", "day", "positions")}
    wrong = {name: f"The {name} is wanted." for name in ("registration", "day") if not given[name]}
    if wrong:
        raise WrongFieldsError(wrong)
    row = {name: typed.get(name, "").strip() for name in EVENT_FIELDS}
    row |= {"registration": given["registration"].upper()}
    row |= {"day": day_typed(given["day"], today=today).isoformat()}
    places = [place for place in DIVIDED.split(given["positions"]) if place]
    return [{**row, "position": place} for place in dict.fromkeys(places)] or [{**row, "position": ""}]


def inspection_row(notice: Notice, typed: Mapping[str, str], *, today: dt.date) -> dict[str, str]:
    """Return the row of the inspection after an event, of the same aircraft and position."""
    day, work_order = (typed.get(name, "").strip() for name in ("day", "work_order"))
    on = day_typed(day, today=today) if day else None
    wrong = {}
    if on is None:
        wrong["day"] = "The day of the inspection is wanted."
    elif on < notice.day:
        wrong["day"] = f"{on} lies before the event of {notice.day}; check the day."
    if not work_order:
        wrong["work_order"] = "The work order of the inspection is wanted."
    if wrong or on is None:
        raise WrongFieldsError(wrong)
    return {
        "registration": notice.registration,
        "day": on.isoformat(),
        "event": INSPECTION,
        "position": notice.position,
        "work_order": work_order,
        "note": typed.get("note", "").strip(),
    }


def wrong_in(error: RowsRefusedError) -> dict[str, str]:
    """Say by field what rows were refused for."""
    names = {"position": "positions"}
    return {
        names.get(each.column, each.column): f"{each.value} {each.rule}; {each.suggestion}".strip()
        for each in reversed(error.errors)
    }
