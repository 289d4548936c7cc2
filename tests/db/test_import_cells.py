"""Cells to values: what is read, what is refused, and what to write instead."""

import datetime as dt
import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from db.files.column import (
    COUNT,
    DAY,
    LENGTH,
    LIST,
    MONTH,
    NAME,
    NUMBER,
    PAST_DAY,
    SIGNED,
    TEXT,
    WORD,
    Column,
)
from db.imports.cells import NOT_A_DAY, REMEMBERED, Cells
from db.imports.days import EPOCH
from db.imports.quoting import from_sheet, quoted, to_sheet, unquoted
from db.imports.texts import nearest

TODAY = dt.date(2026, 11, 25)
DAYS = st.dates(dt.date(1950, 1, 1), dt.date(2199, 12, 31))


def read(kind, *texts, words=()):
    """Values, and the rules broken by place."""
    values, refused = Cells(Column("it", kind, words=words), today=TODAY).read(texts)
    return values, {place: error.rule for place, error in refused.items()}


def value(kind, text, **given):
    values, refused = read(kind, text, **given)
    assert not refused, refused
    return values[0]


def suggestion(kind, text, **given):
    """What to write instead of a refused text."""
    _, refused = Cells(Column("it", kind, **given), today=TODAY).read([text])
    return refused[0].suggestion


def number_of(day):
    return (day - EPOCH).days


def test_an_empty_cell_is_not_known_whatever_its_kind():
    assert value(NAME, "") == value(TEXT, "  ") == value(LENGTH, "") == ""
    assert math.isnan(value(NUMBER, ""))
    assert value(DAY, " ") == NOT_A_DAY


def test_spaces_around_a_value_are_not_part_of_it():
    assert value(NAME, " AB-123  ") == "AB-123"
    assert value(NUMBER, " 12.4 ") == 12.4


def test_leading_zeros_of_a_serial_are_kept():
    assert value(NAME, "00017") == "00017"


def test_a_serial_that_only_looks_like_a_power_of_ten_is_kept():
    assert value(NAME, "12E5") == "12E5"


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("3/4", "write the whole number that was counted"),
        ("12..4", "the whole number"),
        ("four", "write a whole number"),
    ],
)
def test_a_count_that_is_none_is_told_to_be_whole(text, wanted):
    said = suggestion(COUNT, text)
    assert wanted in said
    assert "12.4" not in said


def test_a_length_stays_as_it_was_typed():
    assert value(LENGTH, "35.20") == "35.20"


def test_a_list_may_have_spaces_after_its_semicolons():
    assert value(LIST, "1; 2;3") == "1;2;3"


def test_a_month_may_be_the_first_day_that_a_spreadsheet_makes_of_it():
    assert value(MONTH, "2027-04") == value(MONTH, "2027-04-01") == number_of(dt.date(2027, 4, 1))
    assert read(MONTH, "2027-04-02")[1]


def test_line_breaks_in_a_text_are_one_kind():
    assert value(TEXT, "first\r\nsecond\rthird") == "first\nsecond\nthird"
    assert read(NAME, "two\nlines")[1]


def test_a_whole_number_may_be_written_with_zeros_behind_the_point():
    assert value(COUNT, "3.0") == 3


def test_a_day_ahead_is_refused_only_where_it_tells_of_the_past():
    assert value(DAY, "2030-01-01") == number_of(dt.date(2030, 1, 1))
    assert read(PAST_DAY, "2026-11-25", "2026-11-26")[1] == {1: "lies in the future; today is 2026-11-25"}


@given(DAYS)
def test_every_day_in_iso_form_is_read(day):
    assert value(DAY, day.isoformat()) == number_of(day)


@given(DAYS)
def test_a_day_with_the_year_last_is_refused_and_every_day_that_it_can_mean_is_named(day):
    told = suggestion(DAY, f"{day:%d/%m/%Y}")
    assert day.isoformat() in told
    assert ("whichever is meant" in told) == (day.day <= 12 and day.day != day.month)


@given(st.floats(-1e15, 1e15, allow_nan=False))
@example(3e-05)
@example(1e15)
def test_every_number_at_its_shortest_is_read_back_exactly(number):
    assert value(SIGNED, repr(number)) == number


@given(st.integers(0, 9_999), st.integers(1, 99))
def test_a_decimal_comma_is_refused_and_the_point_suggested(whole, part):
    assert suggestion(NUMBER, f"{whole},{part:02d}") == f"write {whole}.{part:02d}"


@given(st.text(min_size=1, max_size=6, alphabet="0123456789.,-+eE/ %xnaif"))
def test_whatever_stands_in_a_number_cell_is_a_number_or_refused_with_words(text):
    values, refused = Cells(Column("it", SIGNED), today=TODAY).read([text])
    if refused:
        assert refused[0].rule
        assert refused[0].suggestion
    elif text.strip(" "):
        assert values[0] == float(text)


@pytest.mark.parametrize(
    "text", ["1_000", "٣", "\uff11\uff12", "0x10", "1e400", "1e16", "--1", "1.", ".5", "+1", "1-"]
)
def test_what_python_would_take_for_a_number_is_not_always_one(text):
    assert read(SIGNED, text)[1]


@given(st.text())
def test_quoted_text_comes_back_equal_and_runs_nowhere(text):
    cell = quoted(text)
    assert unquoted(cell) == text
    assert not cell.startswith(
        ("=", "+", "-", "@", "\t", "\r", "\n", "\x00", "\uff1d", "\uff0b", "\uff0d", "\uff20")
    )


@pytest.mark.parametrize("text", ["=1+1", "'=1+1", "''=1", "-5", "@here", "\tfar", "'", "'tis", ""])
def test_quoting_is_undone_once(text):
    assert unquoted(quoted(text)) == text


def test_a_quoted_text_is_read_as_what_it_quotes():
    assert value(TEXT, "'=SUM(A1)") == "=SUM(A1)"
    assert value(NAME, "'-12") == "-12"
    assert value(TEXT, "'tis") == "'tis"


@given(st.text(alphabet="_x05DFa\n"))
@example("_x000D_")
@example("_x005F_x000D_")
def test_a_text_that_looks_like_a_workbooks_escape_comes_back_equal(text):
    assert from_sheet(to_sheet(text)) == text


def test_a_workbooks_escapes_are_read_as_the_standard_has_it():
    """ECMA-376 part 1, 22.9.2.19 (ST_Xstring): _x005F_ stands for the low line (recalled)."""
    assert from_sheet("a_x000A_b") == "a\nb"
    assert from_sheet("_x005F_x000D_") == "_x000D_"
    assert to_sheet("_x000D_") == "_x005F_x000D_"


def test_a_quoted_number_is_not_a_number():
    assert read(NUMBER, "'-5")[1]


def test_each_word_is_taken_letter_by_letter():
    assert read(WORD, "mm", "MM", "m", words=("mm", "in")) == (
        ["mm", "", ""],
        {1: "is not one of the words mm, in", 2: "is not one of the words mm, in"},
    )


def test_every_bad_cell_is_found_however_often_its_text_occurs():
    assert sorted(read(NUMBER, "1", "x", "2", "x", "y")[1]) == [1, 3, 4]


def test_more_texts_than_are_remembered_are_still_read():
    cells = Cells(Column("it", COUNT), today=TODAY)
    texts = [str(number) for number in range(REMEMBERED + 2)] + ["x"]
    values, refused = cells.read(texts)
    assert values[:-1] == list(range(REMEMBERED + 2))
    assert list(refused) == [REMEMBERED + 2]
    assert len(cells) <= REMEMBERED + 1


def test_the_nearest_name_is_found_through_capitals_and_spaces():
    assert nearest("Flight Hours", ["full_stops", "flight_hours", "base"]) == "flight_hours"
