"""Days as a hand types them: `14`, `14 mar`, `14 mar 2026` or year-month-day; `3/4` is two days and refused."""

import datetime as dt
import re
from typing import Final

from db.imports import days
from db.imports.days import parse_day
from db.imports.refused import CellError

MONTHS: Final = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
SHORT: Final = re.compile(r"(?a)(\d{1,2})(?:[ -]?([A-Za-z]{3,9})\.?(?:[ -]?(\d{4}))?)?")
WANTED: Final = "write 14, 14 mar, 14 mar 2026 or 2026-03-14"
EPOCH: Final = dt.date(1970, 1, 1)
MONTHS_BACK: Final = 13


def day_typed(text: str, *, today: dt.date) -> dt.date:
    """
    Return the day that is meant: the latest such day that is not in the future where month or year is left out.

    Raises CellError where the text is no day, can be two, or lies in the future.
    """
    text = " ".join(text.split())
    found = SHORT.fullmatch(text)
    if not found:
        return _in_full(text, today)
    number, month = int(found[1]), _month(found[2])
    if found[3]:
        return EPOCH + dt.timedelta(days=parse_day(f"{found[3]}-{month:02d}-{number:02d}", today=today))
    months = ((today.year, today.month - back) for back in range(MONTHS_BACK))
    firsts = [(year - (at <= 0), at + 12 * (at <= 0)) for year, at in months]
    for year, at in firsts:
        if month in (0, at) and (day := _there(year, at, number)) and day <= today:
            return day
    raise CellError("is no day of the last twelve months", WANTED)


def _in_full(text: str, today: dt.date) -> dt.date:
    """A day as files write it; what is wrong with it is told with the forms that a hand may use too."""
    try:
        return EPOCH + dt.timedelta(days=parse_day(text, today=today))
    except CellError as error:
        rule = error.rule.removesuffix(" as year-month-day")
        raise CellError(rule, error.suggestion.replace(days.WANTED, WANTED)) from None


def _month(name: str | None) -> int:
    """1 to 12; 0 where no month is written."""
    if not name:
        return 0
    found = [at for at, month in enumerate(MONTHS, 1) if month.startswith(name.lower())]
    if not found:
        raise CellError(f"has no month called {name!r}", WANTED)
    return found[0]


def _there(year: int, month: int, number: int) -> dt.date | None:
    try:
        return dt.date(year, month, number)
    except ValueError:
        return None
