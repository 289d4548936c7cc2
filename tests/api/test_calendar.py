import datetime as dt
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from api.pages.calendar import Calendar, bar_on, calendar_for, month_after

days = st.dates(dt.date(2020, 1, 1), dt.date(2040, 1, 1))


def test_a_calendar_begins_with_the_month_and_holds_the_last_day():
    made = calendar_for(dt.date(2026, 11, 20), dt.date(2027, 8, 3))
    assert (made.first, made.months, made.end) == (dt.date(2026, 11, 1), 10, dt.date(2027, 9, 1))


@given(days, days)
def test_a_calendar_spans_four_to_twenty_four_months(on, last):
    assert 4 <= calendar_for(on, last).months <= 24


@given(days, st.integers(4, 24), days)
def test_every_day_lies_on_the_calendar_and_later_days_not_to_the_left(first, months, day):
    made = Calendar(first.replace(day=1), months)
    assert 0 <= made.at(day) <= made.at(day + dt.timedelta(days=1)) <= 100


def test_a_bar_that_goes_on_past_the_edge_says_so():
    made = Calendar(dt.date(2026, 1, 1), 6)
    inside = bar_on(made, *(dt.date(2026, month, 1) for month in (2, 3, 4, 2)))
    outside = bar_on(made, *(dt.date(2026, month, 1) for month in (2, 5, 12, 2)))
    assert not inside.ends_after
    assert outside.ends_after
    assert outside.high == 100


def test_months_go_on_over_the_year():
    assert month_after(dt.date(2026, 11, 1), 14) == dt.date(2028, 1, 1)


@given(days, st.integers(4, 24))
def test_labels_stand_far_enough_apart_to_be_read(first, months):
    ticks = Calendar(first.replace(day=1), months).ticks()
    # Of the narrowest column a short name takes 7 %, a letter 3 %, a year 11 %; none may reach the next.
    for one, other in pairwise(ticks):
        assert other.at - one.at > (7 if len(one.label) > 1 else 3)
    for one, other in pairwise([tick for tick in ticks if tick.year]):
        assert other.at - one.at > 11


@given(days, st.integers(4, 24))
def test_every_month_has_its_name_or_its_letter(first, months):
    ticks = Calendar(first.replace(day=1), months).ticks()
    names = [month_after(first.replace(day=1), at).strftime("%b") for at in range(months)]
    assert [tick.label for tick in ticks] == [name[: 3 if months <= 12 else 1] for name in names]
