"""A month calendar across a table column, and where a range lies on it, in percent of its width."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from api.words import MONTHS

FEWEST_MONTHS: Final = 4
MOST_MONTHS: Final = 24
NAMED_MONTHS: Final = 12
YEAR_WIDTH: Final = 0.12


@dataclass(frozen=True)
class Tick:
    """The first day of a month on the calendar."""

    at: float
    label: str
    year: str
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
        """A tick a month with its short name, its first letter where months are narrow; years where they begin."""
        letters = 3 if self.months <= NAMED_MONTHS else 1
        days = [month_after(self.first, index) for index in range(self.months)]
        return tuple(
            Tick(self.at(day), MONTHS[day.month - 1][:letters], self._year(day), new_year=day.month == 1)
            for day in days
        )

    def _year(self, day: dt.date) -> str:
        # A year that ends close to the left edge would run into the one after it.
        fits = day == self.first and (13 - day.month) / self.months > YEAR_WIDTH
        return str(day.year) if fits or day.month == 1 else ""


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
