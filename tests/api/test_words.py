import datetime as dt
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api import words

THIN, FIRM = words.THIN, words.FIRM
finite = st.floats(-1e9, 1e9, allow_nan=False)


def test_thousands_stand_apart_by_a_thin_space():
    assert words.number(12851) == f"12{THIN}851"


def test_a_minus_is_a_minus_sign_and_nothing_rounds_to_minus_zero():
    assert words.number(-1234.5, 1) == f"\N{MINUS SIGN}1{THIN}234.5"
    assert words.number(-0.04, 1) == "0.0"


def test_what_is_not_known_says_so():
    assert {words.number(None), words.length_mm(None), words.ranged(None, 2.0), words.day(None)} == {
        "not known"
    }


@pytest.mark.parametrize(
    ("value", "said"),
    [(31.17, "31.2"), (0.62, "0.620"), (1234.6, f"1{THIN}235"), (0.0, "0"), (9.996, "10.0")],
)
def test_three_significant_digits(value, said):
    assert words.significant(value) == said


def test_wear_is_said_in_mm_per_thousand_landings_with_three_digits():
    assert words.wear_rate(0.0312) == f"31.2{FIRM}mm per 1{THIN}000 landings"


def test_an_assumption_is_shown_as_it_was_typed():
    assert [words.exact(value) for value in (0.04, 21000.0, 0.82, -3.5, 1234567.25)] == [
        "0.04",
        f"21{THIN}000",
        "0.82",
        "\N{MINUS SIGN}3.5",
        f"1{THIN}234{THIN}567.25",
    ]


def test_a_range_is_rounded_to_a_tenth_of_its_width():
    assert words.ranged(812.3, 1043.8) == f"810{words.TO}1{THIN}040"
    assert words.eight_in_ten(29.3, 1.5) == f"27.4{words.TO}31.2"  # 1.2816 deviations on either side
    assert words.ranged(5.83, 6.27) == f"5.83{words.TO}6.27"
    assert words.rounded(927.1, 812.3, 1043.8) == "930"


def test_a_range_without_width_is_one_figure():
    assert words.ranged(0.0, 0.0) == "0"
    assert words.counts_ranged(1.2, 1.4) == "1"


@given(finite, finite)
def test_a_rounded_end_is_within_half_a_tenth_of_the_width(low, high):
    step = words.step_of(low, high)
    assert step <= abs(high - low) / 10 * (1 + 1e-9)
    if step > 1e-6:
        said = float(words.rounded(low, low, high).replace(THIN, "").replace(words.MINUS, "-"))
        assert math.isclose(said, low, abs_tol=step * 0.51)


@given(st.integers(-(10**9), 10**9))
def test_a_whole_number_reads_back(value):
    assert int(words.number(value).replace(THIN, "").replace(words.MINUS, "-")) == value


def test_risks_are_said_as_one_in_so_many():
    assert [words.chance(risk) for risk in (0.1, 0.25, 0.5)] == [f"1{FIRM}in{FIRM}{n}" for n in (10, 4, 2)]
    assert words.chance(0.37) == f"37{FIRM}in{FIRM}100"


def test_near_certainty_is_never_called_certain():
    assert words.in_ten(0.999) == "more than 9 in 10"
    assert words.in_ten(0.001) == "less than 1 in 10"
    assert words.in_ten(0.8) == f"8{FIRM}in{FIRM}10"


def test_days_are_iso_in_tables_and_words_in_sentences():
    day = dt.date(2026, 3, 14)
    assert words.iso(day) == "2026-03-14"
    assert words.day(day) == f"14{FIRM}Mar{FIRM}2026"
    assert words.days_between(day, day) == f"on 14{FIRM}Mar{FIRM}2026"


def test_money_keeps_its_currency_and_no_false_digits():
    assert words.money(14.256, "EUR") == f"EUR{FIRM}14.26"
    assert words.large_money(3_420_000, "EUR") == f"EUR{FIRM}3.42{FIRM}million"
    assert words.large_money(-45_612, "EUR") == f"EUR{FIRM}\N{MINUS SIGN}45{THIN}600"


def test_record_numbers_join_their_runs():
    assert words.record_numbers([9, 4, 5, 6, 12]) == f"4{words.TO}6, 9, 12"
    assert words.record_numbers([1, 3, 5], most=2) == "1, 3 and 1 more"


def test_one_is_counted_in_the_singular():
    assert words.counted(1, "brake") == f"1{FIRM}brake"
    assert words.counted(12, "aircraft-day") == f"12{FIRM}aircraft-days"


def test_a_list_ends_in_and():
    assert [words.listed(items) for items in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


def test_material_is_told_by_mark_and_word():
    assert words.material("steel") == f"\N{BLACK SQUARE}{FIRM}steel"
    assert words.material("carbon") == f"\N{BLACK CIRCLE}{FIRM}carbon"
    assert words.material("") == "material not known"


def test_a_warning_becomes_a_sentence_and_a_name_keeps_its_small_letter():
    assert words.sentence("never read in this run") == "Never read in this run."
    assert words.sentence("kit_cost 11,800 is low.") == "kit_cost 11,800 is low."
