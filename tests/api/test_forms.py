"""Days as a hand types them."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.forms import MONTHS, day_typed
from db.imports.refused import CellError

TODAY = dt.date(2026, 3, 15)
DAYS = st.dates(dt.date(1970, 1, 1), dt.date(2100, 12, 31))


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("14", "2026-03-14"),
        ("15", "2026-03-15"),
        ("16", "2026-02-16"),
        ("31", "2026-01-31"),
        ("14 mar", "2026-03-14"),
        ("14mar", "2026-03-14"),
        ("14 MAR.", "2026-03-14"),
        ("16 mar", "2025-03-16"),
        (" 1  december ", "2025-12-01"),
        ("14 sept", "2025-09-14"),
        ("14 mar 2024", "2024-03-14"),
        ("29-feb-2024", "2024-02-29"),
        ("2026-03-14", "2026-03-14"),
    ],
)
def test_a_day_left_short_is_the_latest_that_is_not_in_the_future(text, day):
    assert day_typed(text, today=TODAY).isoformat() == day


@pytest.mark.parametrize(
    "text",
    [
        "3/4",
        "",
        "0",
        "32",
        "14 mrz",
        "30 feb",
        "29 feb 2025",
        "2026-03-16",
        "16 mar 2026",
        "14.3",
        "\u0661\u0664",
    ],
)
def test_what_is_no_day_or_can_be_two_is_refused_with_what_to_write(text):
    with pytest.raises(CellError) as refused:
        day_typed(text, today=TODAY)
    assert "write" in refused.value.suggestion or "check" in refused.value.suggestion


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "3/4",
            "is not a day; write 14, 14 mar, 14 mar 2026 or 2026-03-14; two numbers can be day and month",
        ),
        ("soon", "is not a day; write 14, 14 mar, 14 mar 2026 or 2026-03-14"),
        ("14.03.2026", "is not a day; write 2026-03-14"),
    ],
)
def test_the_forms_that_a_hand_may_use_are_offered(text, told):
    with pytest.raises(CellError) as refused:
        day_typed(text, today=TODAY)
    assert f"{refused.value.rule}; {refused.value.suggestion}".startswith(told)


@given(today=DAYS, back=st.integers(0, 27))
def test_the_day_of_the_month_finds_each_of_the_last_four_weeks(today, back):
    day = today - dt.timedelta(days=back)
    assert day_typed(str(day.day), today=today) == day
    assert day_typed(f"{day.day} {MONTHS[day.month - 1][:3]} {day.year}", today=today) == day
