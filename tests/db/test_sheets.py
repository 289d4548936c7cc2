"""Sheets: codes that find a slip, lines kept once, and two devices that differ."""

import datetime as dt
from itertools import combinations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from db.entry.sheets import SheetAsked, TypedLine, issue_sheet, keep_line, post_sheet
from db.entry_quality import drawn
from db.errors import ConflictError, KeyReusedError, LedgerError, NotFoundError
from db.session import Session
from db.sheet_code import SYMBOLS, SheetCodeError, code_typed, new_code, with_check
from db.sheets import lines_of, sheet_by_code, sheets_in_conflict, sheets_waiting

DAY = dt.date(2026, 3, 14)
NOW = dt.datetime(2026, 3, 14, 18, tzinfo=dt.UTC)
CODES = st.text(SYMBOLS, min_size=4, max_size=4).map(with_check)


def opened(session, **more):
    asked = SheetAsked("landings", DAY, **{"base": "Home"} | more)
    return issue_sheet(session, asked, {"lines": ["ZZ-001"]}, person="cle", now=NOW).code


def keep(session, code, key, landings, *seen, place="ZZ-001"):
    line = TypedLine(key, place, {"full_stops": landings}, seen)
    return [
        (each.typed["full_stops"], each.state)
        for each in keep_line(session, code, line, person="cle", now=NOW)
    ]


@given(CODES)
def test_a_code_reads_back_however_it_is_spaced(code):
    assert code_typed(f" {code[:2].lower()} {code[2:4]}-{code[4:]} ") == code


@given(CODES)
def test_every_single_wrong_character_is_found(code):
    for place in range(5):
        for symbol in SYMBOLS.replace(code[place], ""):
            with pytest.raises(SheetCodeError, match="one character is wrong or two are swapped"):
                code_typed(code[:place] + symbol + code[place + 1 :])


@given(CODES)
def test_every_swap_is_found(code):
    for left, right in combinations(range(5), 2):
        if code[left] != code[right]:
            swapped = list(code)
            swapped[left], swapped[right] = code[right], code[left]
            with pytest.raises(SheetCodeError, match="does not fit"):
                code_typed("".join(swapped))


@pytest.mark.parametrize(
    ("typed", "said"), [("", "no code was typed"), ("ABCDEF", "has 6"), ("A0BCD", "'0'"), ("lABC2", "'L'")]
)
def test_what_can_be_no_code_says_why(typed, said):
    with pytest.raises(SheetCodeError, match=said):
        code_typed(typed)


def test_there_are_31_symbols_and_none_that_look_alike():
    assert len(set(SYMBOLS)) == 31
    assert not set("01ILO") & set(SYMBOLS)
    assert code_typed(new_code())


def test_one_sheet_in_twenty_is_drawn_to_be_typed_a_second_time():
    """All codes that begin alike, 29,791 of them: one standard error of the share is 0.0013."""
    every = [with_check("2" + "".join(three)) for three in product(SYMBOLS, repeat=3)]
    assert abs(sum(map(drawn, every)) / len(every) - 0.05) < 3 * 0.0013


def test_a_sheet_is_found_by_its_code_as_issued(small_fleet):
    asked = SheetAsked("wear check", DAY, registration="ZZ-001", work_order="W-1")
    made = issue_sheet(small_fleet, asked, {"positions": ["1", "2"]}, person="cle", now=NOW)
    found = sheet_by_code(small_fleet, made.code.lower())
    assert found == made
    assert (found.kind, found.registration, found.work_order) == ("wear check", "ZZ-001", "W-1")
    assert found.asks == {"positions": ["1", "2"]}
    assert found.state == "issued"


def test_an_unknown_code_is_told_from_a_wrong_one(small_fleet):
    with pytest.raises(NotFoundError, match="no sheet"):
        sheet_by_code(small_fleet, with_check("2345"))
    with pytest.raises(SheetCodeError):
        sheet_by_code(small_fleet, "23456")


def test_a_base_has_one_landings_sheet_a_day(small_fleet):
    assert opened(small_fleet) == opened(small_fleet)
    assert opened(small_fleet) != opened(small_fleet, base="")
    assert opened(small_fleet, base="") == opened(small_fleet, base="")


@pytest.mark.parametrize(
    ("more", "said"),
    [({"base": "Nowhere"}, "no base 'Nowhere'"), ({"registration": "ZZ-999"}, "no aircraft carried")],
)
def test_a_sheet_for_what_is_not_on_record_is_refused(small_fleet, more, said):
    with pytest.raises(NotFoundError, match=said):
        opened(small_fleet, **more)


def test_a_kind_of_sheet_that_is_not_known_is_refused(small_fleet):
    with pytest.raises(LedgerError, match="no kind of sheet"):
        issue_sheet(small_fleet, SheetAsked("menu", DAY), {}, person="cle", now=NOW)


def test_a_line_sent_ten_times_is_kept_once(small_fleet):
    code = opened(small_fleet)
    for _ in range(10):
        assert keep(small_fleet, code, "a", "4") == [("4", "standing")]
    assert len(lines_of(small_fleet, code, replaced=True)) == 1


def test_a_key_used_for_something_else_is_refused(small_fleet):
    code = opened(small_fleet)
    keep(small_fleet, code, "a", "4")
    with pytest.raises(KeyReusedError, match="used for something else"):
        keep(small_fleet, code, "a", "5")
    with pytest.raises(KeyReusedError):
        keep(small_fleet, code, "a", "4", place="ZZ-002")


def test_a_line_typed_again_replaces_what_it_saw_and_nothing_is_lost(small_fleet):
    code = opened(small_fleet)
    keep(small_fleet, code, "a", "4")
    assert keep(small_fleet, code, "b", "5", "a") == [("5", "standing")]
    assert [each.key for each in lines_of(small_fleet, code, replaced=True)] == ["a", "b"]


def test_lines_in_the_wrong_order_end_the_same(small_fleet):
    code = opened(small_fleet)
    keep(small_fleet, code, "b", "5", "a")
    assert keep(small_fleet, code, "a", "4") == [("5", "standing")]


def test_two_devices_that_differ_are_both_kept(small_fleet):
    code = opened(small_fleet)
    keep(small_fleet, code, "a", "4")
    assert keep(small_fleet, code, "z", "5") == [("4", "standing"), ("5", "conflict")]
    assert [each.code for each in sheets_in_conflict(small_fleet)] == [code]
    with pytest.raises(ConflictError, match="differ in ZZ-001"):
        post_sheet(small_fleet, code, person="cle", now=NOW)


def test_two_devices_that_agree_are_no_conflict(small_fleet):
    code = opened(small_fleet)
    keep(small_fleet, code, "a", "4")
    assert keep(small_fleet, code, "z", "4") == [("4", "standing")]


def test_who_has_seen_both_settles_it(small_fleet):
    code = opened(small_fleet)
    keep(small_fleet, code, "a", "4")
    keep(small_fleet, code, "z", "5")
    assert keep(small_fleet, code, "s", "5", "a", "z") == [("5", "standing")]
    assert sheets_in_conflict(small_fleet) == ()


def test_a_conflict_whose_other_side_goes_away_stands(small_fleet):
    code = opened(small_fleet)
    keep(small_fleet, code, "a", "4")
    keep(small_fleet, code, "z", "5")
    assert keep(small_fleet, code, "b", "5", "a") == [("5", "standing")]


def test_a_line_that_comes_after_the_post_waits_or_conflicts(small_fleet):
    code = opened(small_fleet)
    keep(small_fleet, code, "a", "4")
    assert [each.code for each in sheets_waiting(small_fleet)] == [code]
    assert post_sheet(small_fleet, code, person="cle", now=NOW).state == "posted"
    assert sheets_waiting(small_fleet) == ()
    assert keep(small_fleet, code, "z", "4") == [("4", "posted")]
    assert keep(small_fleet, code, "y", "5") == [("4", "posted"), ("5", "conflict")]
    keep(small_fleet, code, "x", "2", place="ZZ-002")
    assert [each.code for each in sheets_waiting(small_fleet)] == [code]


def test_posting_again_keeps_who_posted_first(small_fleet):
    code = opened(small_fleet)
    first = post_sheet(small_fleet, code, person="cle", now=NOW)
    assert post_sheet(small_fleet, code, person="ann", now=NOW + dt.timedelta(1)) == first


@pytest.mark.parametrize("key", ["", "a b", "x" * 81, "a\n"])
def test_a_strange_line_key_is_refused(small_fleet, key):
    with pytest.raises(LedgerError, match="no line key"):
        keep(small_fleet, opened(small_fleet), key, "4")


def test_a_line_without_a_place_or_without_end_is_refused(small_fleet):
    code = opened(small_fleet)
    for place, landings in (("", "4"), ("ZZ-001", "4" * 3_000)):
        with pytest.raises(LedgerError, match="names its place"):
            keep(small_fleet, code, "k", landings, place=place)


def test_one_sheet_opened_from_two_sides_is_one(engine):
    with Session(engine) as first:
        code = issue_sheet(first, SheetAsked("landings", DAY), {}, person="cle", now=NOW).code
        first.commit()
    with Session(engine) as second:
        assert issue_sheet(second, SheetAsked("landings", DAY), {}, person="ann", now=NOW).code == code
