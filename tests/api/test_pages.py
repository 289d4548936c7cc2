"""The pages of a small fleet, as served: what each must say, keep, quote and refuse."""

import csv
import io
import re
from html import unescape

import pytest
from openpyxl import load_workbook

from api.pages.brake_types import Types
from api.pages.cost import like_for_like
from api.pages.navigation import (
    ASSUMPTIONS,
    BRAKE_RECORD,
    BRAKES,
    BRING_IN,
    CORRECTIONS,
    ENTRY_QUALITY,
    EVENTS,
    HELD,
    LANDINGS,
    MOVES,
    PEOPLE,
    PIN_READINGS,
    PLACES,
    SHEETS,
)
from lifecycle.cost import TypeCost
from tests.api.shown_fleet import RISKY

PATHS = [place.path for place in PLACES if place != PEOPLE]
LIMIT_WORDS = (
    "At or below the wear limit (manual of S-100, revision 2). Report now under your procedure. "
    "Saving does not release the aircraft."
)
FORBIDDEN = re.compile(r"\b(safe|safely|safety|airworthy|airworthiness)\b", re.IGNORECASE)


def text_of(answer):
    """Words of a page as read: tags gone, spaces of every kind as one."""
    plain = unescape(re.sub(r"<[^>]+>", " ", answer.text)).replace("\N{WORD JOINER}", "")
    return re.sub(r" (?=[;,.])", "", " ".join(plain.split()))


def table_of(client, address):
    return list(csv.DictReader(io.StringIO(client.get(address).text)))


@pytest.mark.parametrize("path", PATHS)
def test_every_place_of_the_menu_is_there_and_marks_itself(shown_client, path):
    answer = shown_client.get(path)
    assert answer.status_code == 200
    assert answer.text.count('aria-current="page"') == 1
    assert re.search(rf'href="{path}" aria-current="page"', answer.text)


# What is written down, and how it is judged: no study stands behind these.
WITHOUT_STUDY = {
    place.path
    for place in (
        *(ASSUMPTIONS, BRAKES, BRING_IN, CORRECTIONS, ENTRY_QUALITY, EVENTS),
        *(HELD, LANDINGS, MOVES, PIN_READINGS, SHEETS),
    )
}


@pytest.mark.parametrize("path", [path for path in PATHS if path not in WITHOUT_STUDY])
def test_every_page_has_scope_reach_study_and_the_planning_line(shown_client, path):
    told = text_of(shown_client.get(path))
    assert "forecast from 30 May 2026. Records through 2026-05-30; 1 aircraft-day missing" in told
    assert re.search(r"Study S-\w+, records as known on", told)
    assert told.endswith(
        "Planning record. Follow the approved maintenance manual. This tool does not release aircraft."
    )


@pytest.mark.parametrize("path", [*PATHS, f"{BRAKE_RECORD}?serial=LOW-1"])
def test_no_page_calls_a_brake_safe_or_airworthy(shown_client, path):
    assert not FORBIDDEN.search(text_of(shown_client.get(path)))


@pytest.mark.parametrize("path", ["/", "/changeouts", f"{BRAKE_RECORD}?serial=LOW-1"])
def test_a_brake_at_its_limit_says_so_in_its_row_and_nobody_can_dismiss_it(shown_client, path):
    answer = shown_client.get(path)
    assert LIMIT_WORDS in text_of(answer)
    assert "Forecast for planning; inspection decides." in text_of(answer)
    assert not re.search(r'<p class="limit">[^<]*<(button|a|input)', answer.text)


def test_a_limit_without_a_source_says_that_too():
    assert "(no source on record)" in Types({}, {}).limit_words("S-100")


def test_change_outs_show_each_kind_by_word_and_mark(shown_client):
    told = text_of(shown_client.get("/changeouts"))
    for said in ("● observed", "≈ estimated", "- - assumed", "■ steel", "● carbon", "Never read in this run"):
        assert said in told, said


def test_what_is_due_comes_first_then_the_day_to_act_before(shown_client):
    rows = table_of(shown_client, "/changeouts?format=csv")
    assert [row["serial"] for row in rows][:1] == ["LOW-1"]
    acts = [row["date_at_risk"] for row in rows]
    assert acts == sorted(acts)


def test_a_bolder_risk_acts_later(shown_client):
    def act(risk):
        rows = table_of(shown_client, f"/changeouts?risk={risk}&format=csv")
        return {
            row["serial"] + row["brake_type"]: row["date_at_risk"]
            for row in rows
            if row["kind"] != "observed"
        }

    early, late = act("0.1"), act("0.5")
    assert all(early[serial] < late[serial] for serial in early)


@pytest.mark.parametrize(
    ("order", "column"),
    [("serial", "serial"), ("aircraft", "registration"), ("base", "base"), ("pin", "pin_mm")],
)
def test_the_list_is_sorted_as_asked_and_says_so(shown_client, order, column):
    cells = [
        row[column] for row in table_of(shown_client, f"/changeouts?order={order}&format=csv") if row[column]
    ]
    assert cells == sorted(cells, key=float if column == "pin_mm" else str)
    assert shown_client.get(f"/changeouts?order={order}").text.count('aria-sort="ascending"') == 1


def test_one_base_shows_its_own_brakes_only(shown_client):
    assert {row["base"] for row in table_of(shown_client, "/changeouts?base=Away&format=csv")} == {"Away"}
    assert {row["base"] for row in table_of(shown_client, "/spares?base=Away&format=csv")} == {"Away"}


def test_a_serial_is_text_in_the_page_and_in_the_file(shown_client):
    answer = shown_client.get("/changeouts")
    assert "=1+1<b>" not in answer.text
    assert RISKY in text_of(answer)
    serials = [row["serial"] for row in table_of(shown_client, "/changeouts?format=csv")]
    assert f"'{RISKY}" in serials
    book = load_workbook(io.BytesIO(shown_client.get("/changeouts?format=xlsx").content))
    assert all(cell.data_type != "f" for row in book.active.iter_rows() for cell in row)


def test_a_serial_of_two_types_asks_for_the_type(shown_client):
    answer = shown_client.get(f"{BRAKE_RECORD}?serial=TWIN")
    assert answer.status_code == 422
    assert "add brake_type C-200 or S-100" in text_of(answer)
    told = text_of(shown_client.get(f"{BRAKE_RECORD}?serial=TWIN&brake_type=C-200"))
    assert "Brake TWIN" in told
    assert "landings; 8 in 10: " in told


def test_a_brake_is_found_by_the_end_of_its_serial(shown_client):
    found = text_of(shown_client.get("/brakes?serial=win"))
    assert "2 brakes with a serial that ends in win" in found
    assert "No brake on record has a serial that ends in 9999" in text_of(
        shown_client.get("/brakes?serial=9999")
    )


def test_an_unknown_brake_is_not_found_and_what_was_typed_is_kept(shown_client):
    answer = shown_client.get(f"{BRAKE_RECORD}?serial=XX-9")
    assert answer.status_code == 404
    assert 'name="serial" value="XX-9"' in answer.text


def test_a_brake_record_says_where_when_and_from_which_records(shown_client):
    told = text_of(shown_client.get(f"{BRAKE_RECORD}?serial=S-3"))
    assert "On ZZ-A, position 3, Home." in told
    assert re.search(
        r"8 in 10: the limit is reached between \d+ \w+ 2026 and \d+ \w+ 2026, at 4.0 landings a day", told
    )
    assert re.search(r"Pin readings: \d+", told)


def test_a_brake_record_says_how_far_its_pins_stand_apart(shown_client):
    """0.4 mm in every reading of C-3, beside an error believed of 0.15 mm a pin."""
    told = text_of(shown_client.get(f"{BRAKE_RECORD}?serial=C-3"))
    wanted = (
        r"Pin B beside pin A .{0,3}0\.40 mm longer on average of the run; "
        r"8 in 10: (0\.3\d) to (0\.4\d); 14 readings of all pins"
    )
    found = re.search(wanted + r"; changes by .?0\.0 mm per", told)
    assert found, told
    assert float(found[1]) < 0.4 < float(found[2])
    assert "beside pin" not in text_of(shown_client.get(f"{BRAKE_RECORD}?serial=S-2"))


def test_inches_are_shown_back_as_typed(shown_client):
    assert re.search(r"typed 0\.\d{3} in", text_of(shown_client.get(f"{BRAKE_RECORD}?serial=C-3")))


def test_a_brake_on_no_aircraft_has_no_day(shown_client):
    told = text_of(shown_client.get(f"{BRAKE_RECORD}?serial=OFF-1"))
    assert "On no aircraft since 1 Jan 2026: off ZZ-A, position 1, leak." in told
    assert "no day is forecast" in told


def test_an_unread_brake_is_assumed_and_says_so(shown_client):
    told = text_of(shown_client.get(f"{BRAKE_RECORD}?serial=NEW-1"))
    assert "- - assumed" in told
    assert "No pin reading is on record in this run." in told


def test_spares_say_where_stock_is_and_where_it_is_not_known(shown_client):
    told = text_of(shown_client.get("/spares"))
    assert "No stock on record for Away, C-200" in told
    assert "Home, S-100: short from" in told
    assert "Stock as last counted, orders and brakes in the shop" in told


def test_short_is_the_same_number_in_the_page_and_in_its_file(shown_client):
    told = re.findall(r"short ([\d\s]+?)(?= [^\d])", text_of(shown_client.get("/spares")))
    rows = [int(row["short"]) for row in table_of(shown_client, "/spares?format=csv") if row["short"]]
    assert sorted(map(int, told)) == sorted(filter(None, rows))
    assert told


def test_spares_give_no_range_of_a_sum_that_nobody_worked_out(shown_client):
    told = text_of(shown_client.get("/spares"))
    assert re.search(
        r"About [\d ]+ brakes? will be needed in 12 months; the range of each month is below\.", told
    )


def test_cost_adds_up_to_its_elements_in_the_table(shown_client):
    for row in table_of(shown_client, "/cost?format=csv"):
        names = (
            "overhaul",
            "procurement",
            "change-out labour",
            "fuel",
            "unscheduled removals",
            "repairs",
            "shipping",
        )
        parts = sum(float(row[name]) for name in names if row.get(name))
        assert parts == pytest.approx(float(row["cost_per_landing"]), rel=1e-9)


@pytest.mark.parametrize("ends", [(0.70, 0.90), (None, None)])
def test_a_ratio_like_for_like_says_that_prices_are_held(ends):
    told = like_for_like(TypeCost("C-200", 1000.0, 10.0, 9.0, 12.0, {}, 0.8, *ends), "S-100")
    assert "C-200 0.8" in told or "C-200 about 0.800" in told
    assert "prices held as assumed" in told
    assert ("range: wear only" in told) is (ends[0] is not None)


def test_cost_shows_its_fuel_with_the_conversion(shown_client):
    told = text_of(shown_client.get("/cost"))
    assert "Fuel to carry one brake for one landing" in told
    assert "60 kg" in told


def test_a_retrofit_brief_gives_a_recommendation_with_its_sources(shown_client):
    told = text_of(shown_client.get("/retrofit?from=S-100&to=C-200"))
    assert re.search(r"(Retrofit\.|Do not retrofit\.|There is not enough data to say\.)", told)
    assert "Assumptions behind this brief" in told
    assert "Kit cost" in told


def test_the_present_value_of_a_brief_ends_at_its_net_present_value(shown_client):
    address = "/retrofit?from=S-100&to=C-200"
    rows = table_of(shown_client, f"{address}&format=csv")
    brief = shown_client.get("/api/v1/briefing?from=S-100&to=C-200").json()
    assert float(rows[-1]["present_value_so_far"]) == pytest.approx(brief["npv"])
    assert [row["calendar_year"] for row in rows[:2]] == ["2026", "2027"]
    line = shown_client.get("/retrofit/figures.json?from=S-100&to=C-200").json()["cash"]["data"][1]
    assert "discounted" in line["name"]


def test_a_retrofit_without_types_asks_for_them(shown_client):
    answer = shown_client.get("/retrofit?on=2026-05-30")
    assert "Choose the brake type in service and the one proposed." in text_of(answer)
    # Either type's kit has a cost here, so none is opened unasked.
    link = re.search(r'href="([^"]+)">S-100 to C-200<', answer.text).group(1)
    assert unescape(link) == "/retrofit?on=2026-05-30&from=S-100&to=C-200"


def test_a_link_to_another_page_keeps_the_scope_and_drops_the_rest(shown_client):
    page = shown_client.get("/changeouts?base=Home&risk=0.5&on=2026-05-30").text
    assert 'href="/spares?base=Home&amp;on=2026-05-30"' in page
    assert 'href="/changeouts?base=Home&amp;risk=0.5&amp;on=2026-05-30&amp;format=csv"' in page


def test_a_wrong_question_names_the_field_the_value_and_what_is_wanted(shown_client):
    told = text_of(shown_client.get("/changeouts?risk=7&on=3/4"))
    assert "risk is '7': wanted '0.1', '0.25' or '0.5'" in told
    assert "on: '3/4' is not a day; wanted like 2026-03-14" in told.lower()
    assert "On (a day as year, month, day in figures with hyphens: 14 March 2026 is 2026-03-14)" in told


def test_missing_aircraft_days_are_listed_on_every_page_that_counts_them(shown_client):
    page = shown_client.get("/changeouts").text
    listed = re.search(r'<details class="origin gaps">.*?</details>', page, re.DOTALL).group()
    assert re.findall(r"<li>(ZZ-\w): (\d{4}-\d\d-\d\d)</li>", listed)


def test_a_field_left_empty_asks_for_what_is_taken_by_default(shown_client):
    answer = shown_client.get("/changeouts?base=&on=&known_on=&risk=0.25")
    assert answer.status_code == 200
    assert "forecast from 30 May 2026" in text_of(answer)


@pytest.mark.parametrize("asked", ["risk=7", "on=3/4", "page=0", "order=colour", "format=doc"])
def test_a_wrong_question_is_refused_with_what_was_typed(shown_client, asked):
    answer = shown_client.get(f"/changeouts?base=Home&{asked}")
    name, _, value = asked.partition("=")
    assert answer.status_code == 422
    assert f'name="{name}" value="{value}"' in answer.text
    assert 'name="base" value="Home"' in answer.text


@pytest.mark.parametrize(
    ("address", "status", "told"),
    [
        ("/landing", 404, "No page has the address /landing"),
        (
            "/sheets?kind=bogus",
            404,
            "'bogus' is no kind of sheet; wanted one of landings, wear check, move slip.",
        ),
        ("/corrections?load=99", 404, "No load has the number 99"),
        ("/editions/abc", 422, "number is 'abc': wanted a whole number"),
        ("/api/v1/landingz", 404, "kinds of record are bases, aircraft-types, "),
        ("/claims?type=S-100&landings=1500&ratio=2", 422, "exactly one of the two is wanted"),
    ],
)
def test_an_address_that_means_nothing_says_what_would(shown_client, address, status, told):
    answer = shown_client.get(address)
    assert (answer.status_code, told.lower() in text_of(answer).lower()) == (status, True), answer.text


def test_a_claim_is_asked_by_the_names_of_the_json_too(shown_client):
    other = shown_client.get("/claims?type=S-100&landings=1500")
    assert "Claimed: S-100 lasts 1 500 landings a run." in text_of(other).replace("\u202f", " ")
    assert "As flown: bases and positions are in it" in text_of(other)
    assert re.findall(r'name="claimed" value="[^"]*"', other.text) == ['name="claimed" value="1500"']


@pytest.mark.parametrize(
    ("address", "parts"),
    [
        ("/changeouts/figures.json", {"months"}),
        ("/cost/figures.json", {"elements"}),
        ("/retrofit/figures.json?from=S-100&to=C-200", {"cash", "swing"}),
        (f"{BRAKE_RECORD}/figures.json?serial=S-3", {"wear", "ahead", "outcomes"}),
        ("/spares/figures.json?base=Home", {"Home, S-100"}),
    ],
)
def test_every_chart_is_served_as_a_figure(shown_client, address, parts):
    figures = shown_client.get(address).json()
    assert set(figures) == parts
    assert all(figure["data"] for figure in figures.values())


def test_the_chart_library_comes_packed_from_the_installed_package_and_is_kept(shown_client):
    page = shown_client.get("/cost").text
    address = re.search(r'src="(/static/plotly[^"]+)"', page).group(1)
    answer = shown_client.get(address, headers={"Accept-Encoding": "gzip"})
    assert answer.headers["content-encoding"] == "gzip"
    assert "immutable" in answer.headers["cache-control"]
    assert b"plotly.js v" in answer.content[:200]
    plain = shown_client.get(address, headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert plain.content == answer.content


def test_the_place_holder_of_the_library_s_own_styles_stands_on_chart_pages(shown_client):
    assert re.search(
        r'<meta name="map-styles" content="none" id="[0-9a-f]{64}">', shown_client.get("/cost").text
    )


@pytest.mark.parametrize("typed", ["30 may 2026", "30 May 2026", " 2026-05-30 "])
def test_the_days_of_the_scope_are_typed_short_and_kept_written_out(shown_client, typed):
    answer = shown_client.get("/changeouts", params={"on": typed})
    assert "forecast from 30 May 2026" in text_of(answer)
    assert 'href="/spares?on=2026-05-30"' in answer.text
