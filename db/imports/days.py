"""Days and months from text: in the one order that the file was said to have, as 3/4 is two days; else refused."""

import datetime as dt
import re
from typing import Final

from db.imports.refused import CellError
from db.imports.written import YEAR_FIRST

ISO: Final = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
ISO_MONTH: Final = re.compile(r"([0-9]{4})-([0-9]{2})(-01)?")  # a spreadsheet makes a month its first day
FIRST_YEAR, LAST_YEAR = 1950, 2199
EPOCH: Final = dt.date(1970, 1, 1)
SPREADSHEET_EPOCH: Final = dt.date(1899, 12, 30)

WITH_TIME: Final = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ][0-9:.Z+-]+")
THREE_PARTS: Final = re.compile(r"([0-9]{1,4})[-/. ]([0-9]{1,2})[-/. ]([0-9]{1,4})")
TWO_PARTS: Final = re.compile(r"[0-9]{1,2}[-/.][0-9]{1,2}")
SPREADSHEET_DAY: Final = re.compile(r"[1-9][0-9]{4}")
WORDED: Final = ("%d %b %Y", "%d-%b-%Y", "%d %B %Y", "%b %d, %Y", "%B %d, %Y", "%d-%b-%y", "%Y%m%d")
# Where another order was chosen: numbers of that order, the year in full.
YEAR_LAST: Final = re.compile(r"([0-9]{1,2})([-/. ])([0-9]{1,2})\2([0-9]{4})")
MONTH_YEAR: Final = re.compile(r"([0-9]{1,2})[-/. ]([0-9]{4})")
WANTED: Final = "write the day as year-month-day, such as 2026-03-14"


def parse_day(text: str, *, today: dt.date | None, order: str = YEAR_FIRST) -> int:
    """Return the days since 1970-01-01; after `today` (where given) is refused."""
    day = _in_iso(text) if order == YEAR_FIRST else _year_last(text, order)
    if today is not None and day > today:
        raise CellError(f"lies in the future; today is {today}", "write the day on which it happened")
    return (day - EPOCH).days


def parse_month(text: str, *, order: str = YEAR_FIRST) -> int:
    """Return the first day of the month, as days since 1970-01-01."""
    year, month = _iso_month(text) if order == YEAR_FIRST else _month_of(text, order)
    return (_calendar_day(year, month, 1) - EPOCH).days


def _in_iso(text: str) -> dt.date:
    if not (parts := ISO.fullmatch(text)):
        raise CellError("is not a day as year-month-day", _meant(text))
    return _calendar_day(*map(int, parts.groups()))


def _year_last(text: str, order: str) -> dt.date:
    if not (parts := YEAR_LAST.fullmatch(text)):
        rule = f"is not a day as {order}, the order that this file was said to have"
        raise CellError(rule, f"write it as {order} with the year in full, or choose another order")
    first, second, year = int(parts[1]), int(parts[3]), int(parts[4])
    month, number = (second, first) if order.startswith("day") else (first, second)
    return _calendar_day(year, month, number)


def _iso_month(text: str) -> tuple[int, int]:
    if not (parts := ISO_MONTH.fullmatch(text)):
        raise CellError("is not a month as year-month", "write the month as year-month, such as 2027-04")
    return int(parts[1]), int(parts[2])


def _month_of(text: str, order: str) -> tuple[int, int]:
    """Year and month; a spreadsheet makes a month its first day."""
    if parts := MONTH_YEAR.fullmatch(text):
        return int(parts[2]), int(parts[1])
    if YEAR_LAST.fullmatch(text) and (day := _year_last(text, order)).day == 1:
        return day.year, day.month
    rule = f"is not a month; the days of this file were said to be written {order}"
    raise CellError(rule, "write the month as month-year, such as 04-2027")


def _calendar_day(year: int, month: int, day: int) -> dt.date:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise CellError(f"has a year outside {FIRST_YEAR} to {LAST_YEAR}", "check the year")
    try:
        return dt.date(year, month, day)
    except ValueError:
        raise CellError(
            "is not in the calendar", "check the month (01 to 12) and the day of that month"
        ) from None


def _meant(text: str) -> str:
    """Name the day where the text leaves no doubt, both where it does."""
    if with_time := WITH_TIME.fullmatch(text):
        return f"write {with_time.group(1)}, without a time"
    if SPREADSHEET_DAY.fullmatch(text):
        day = SPREADSHEET_EPOCH + dt.timedelta(days=int(text))
        return f"write {day} (a spreadsheet's day number stands here)"
    if parts := THREE_PARTS.fullmatch(text):
        days = sorted({day.isoformat() for day in _orders(*parts.groups())})
        return (
            f"write {' or '.join(days)}{', whichever is meant' if len(days) > 1 else ''}" if days else WANTED
        )
    if TWO_PARTS.fullmatch(text):
        return f"{WANTED}; two numbers can be day and month or month and day"
    for form in WORDED:
        try:
            return f"write {dt.datetime.strptime(text, form).date()}"  # noqa: DTZ007 - a day has no time zone
        except ValueError:
            continue
    return WANTED


def _orders(first: str, second: str, third: str) -> list[dt.date]:
    """Every day that three numbers can mean: year first, or year last with either order before it."""
    year_last = len(third) == 4
    orders = [(third, second, first), (third, first, second)] if year_last else [(first, second, third)]
    days = []
    for year, month, day in orders:
        if len(year) == 4:
            try:
                days.append(dt.date(int(year), int(month), int(day)))
            except ValueError:
                continue
    return days
