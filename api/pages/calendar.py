"""A month calendar across a table column, and where a range lies on it, in percent of its width."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from api.words import MONTHS

FEWEST_MONTHS: Final = 6
MOST_MONTHS: Final = 24


@dataclass(frozen=True)
class Tick:
    """The first day of a month on the calendar."""

    at: float
    label: str
    new_year: bool


@dataclass(frozen=True)
class Calendar:
    """Whole months from the month of `first` on."""

    first: dt.date
    months: int

    @property
    def end(self) -> dt.date:
        """The first day that is not on the calendar any more."""
        return month_after(self.first, self.months)

    def at(self, day: dt.date) -> float:
        """Where a day lies, in percent; days outside lie at the edges."""
        share = (day - self.first).days / (self.end - self.first).days
        return round(100 * min(1.0, max(0.0, share)), 2)

    def ticks(self) -> tuple[Tick, ...]:
        """A tick a month; the first and each January carry the year, others a name where there is room."""
        every = 1 if self.months <= 8 else 3
        days = [month_after(self.first, index) for index in range(self.months)]
        return tuple(
            Tick(self.at(day), _label(day, index, every), new_year=day.month == 1)
            for index, day in enumerate(days)
        )


@dataclass(frozen=True)
class Bar:
    """One brake's range on the calendar; `ends_after` says that it goes on past the right edge."""

    low: float
    middle: float
    high: float
    act: float
    ends_after: bool


def calendar_for(on: dt.date, last: dt.date | None) -> Calendar:
    """A calendar from the month of `on` that holds the day `last` if it is not too far away."""
    first = on.replace(day=1)
    wanted = 0 if last is None else (last.year - first.year) * 12 + last.month - first.month + 1
    return Calendar(first, min(MOST_MONTHS, max(FEWEST_MONTHS, wanted)))


def bar_on(calendar: Calendar, low: dt.date, middle: dt.date, high: dt.date, act: dt.date) -> Bar:
    """The range from `low` to `high` with its middle and the day to act before."""
    at = calendar.at
    return Bar(at(low), at(middle), at(high), at(act), ends_after=high >= calendar.end)


def month_after(first: dt.date, months: int) -> dt.date:
    """The first day of the month so many months on."""
    index = first.year * 12 + first.month - 1 + months
    return dt.date(index // 12, index % 12 + 1, 1)


def _label(day: dt.date, index: int, every: int) -> str:
    name = MONTHS[day.month - 1]
    if day.month == 1 or (index == 0 and day.month < 11):
        return f"{name} {day.year}"
    # Labels begin at their tick: a name right after one that carries its year would run into it.
    crowded = 0 < index <= every or day.month <= every or (every == 1 and day.month == 2)
    return name if index == 0 or not (crowded or (day.month - 1) % every) else ""
