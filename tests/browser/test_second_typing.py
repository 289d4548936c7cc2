"""A sheet typed a second time by another person, by keyboard alone: what differs is told, settled, and nothing else."""

import datetime as dt
import json

import pytest
from axe_playwright_python.sync_playwright import Axe

from db.entry.issuing import issue_wear_check
from db.entry.sheets import SheetAsked
from db.entry_quality import drawn
from db.lookup import base_ids
from db.records.sheets import Sheet
from db.secrets_kept import time_text
from db.session import Session, open_engine
from db.sheet_code import SYMBOLS, with_check
from tests.browser.field_service import field_ledger, serving
from tests.browser.test_pages import FOCUS, FOCUSABLE, FROM_THE_TOP, NOTE_FOCUS, OVERFLOWING, SMALL_TARGETS

DAY = dt.date(2026, 5, 21)
DESK = {"width": 1440, "height": 900}
NARROW = {"width": 320, "height": 900}
LANDINGS, WEAR_CHECK = [
    code for code in (with_check("22" + a + b) for a in SYMBOLS for b in SYMBOLS) if drawn(code)
][:2]


def add_sheets(url):
    """Two sheets of the shown fleet that the draw takes, posted by cle: what they say is on record."""
    engine, now = open_engine(url), dt.datetime.now(dt.UTC)
    by = {"issued_by": "cle", "posted_by": "cle", "issued_at": time_text(now), "posted_at": time_text(now)}
    with Session(engine) as session, session.begin():
        asked = SheetAsked("wear check", DAY, "Away", "ZZ-B")
        held = session.get(Sheet, issue_wear_check(session, asked, person="cle", now=now).code)
        of_check = {"asks": held.asks, "base": held.base, "aircraft": held.aircraft}
        session.delete(held)
        of_day = {"asks": json.dumps({"asks": "count", "lines": []}), "base": base_ids(session)["Home"]}
        session.add(Sheet(code=WEAR_CHECK, kind="wear check", day=DAY, **of_check, **by))
        session.add(Sheet(code=LANDINGS, kind="landings", day=DAY, **of_day, **by))
    engine.dispose()


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    url = field_ledger(tmp_path_factory)
    add_sheets(url)
    with serving(url) as made:
        yield made


@pytest.fixture
def open_as(browser, service):
    """Entry quality as one person sees it."""
    contexts = []

    def open_list(name, *, scripts=True):
        made = browser.new_context(base_url=service.address, viewport=DESK, java_script_enabled=scripts)
        made.set_default_timeout(30_000)
        made.add_cookies([service.cookie(name)])
        contexts.append(made)
        page = made.new_page()
        page.goto("/entry-quality")
        return page

    yield open_list
    for each in contexts:
        each.close()


def hold_up(page):
    """Axe finds nothing, Tab goes to all in reading order with the focus seen, thumbs hit, 320 px do not scroll."""
    assert [(each["id"], each["nodes"][0]["html"]) for each in Axe().run(page).response["violations"]] == []
    wanted = page.evaluate(FOCUSABLE)
    page.evaluate(FROM_THE_TOP)
    page.evaluate(NOTE_FOCUS)
    for _ in wanted:
        page.keyboard.press("Tab")
    assert page.evaluate("() => window.reached") == [[stop, FOCUS] for stop in wanted]
    assert page.evaluate(SMALL_TARGETS) == []
    page.set_viewport_size(NARROW)
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 320, page.evaluate(OVERFLOWING)
    page.set_viewport_size(DESK)


def focused(page, what):
    return page.evaluate(f"() => document.activeElement.{what}")


def told(page):
    return page.locator("main").inner_text().replace("\N{NO-BREAK SPACE}", " ")


def rows(page):
    return [each.split("\t") for each in page.locator("tbody tr").all_inner_texts()]


def test_both_kinds_of_sheet_are_typed_again_by_keyboard_and_what_differs_is_told_and_settled(open_as):
    # One journey: a service of its own is started once for it, on whichever worker it runs.
    type_the_wear_check_again(open_as("dee"))
    type_the_landings_again(open_as("dee", scripts=False))


def type_the_wear_check_again(page):
    """The second typing is wrong in one place, which is told; nothing is to be done."""
    page.get_by_role("link", name=f"sheet {WEAR_CHECK}").press("Enter")
    assert "18.6" not in told(page), "the first typing is not shown"
    hold_up(page)
    page.locator("[data-step]").first.focus()
    # The paper says mm; one brake is on record in inches.
    for chosen in ("m", "l"):
        page.keyboard.press(chosen)
        page.keyboard.press("Enter")
    assert focused(page, "ariaLabel") == "ZZ-B, position 1, pin A"
    # On record: 18.6 mm, 18.4 mm, then 0.714 and 0.729 in; NEW-1 was not read.
    for text in ("18..6", "", "18.5", "", "0.714", "0.729", "", ""):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    page.wait_for_selector(".refusal")
    assert focused(page, "className") == "refusal"
    assert Axe().run(page).response["violations"] == []
    page.locator(".refusal a").press("Enter")
    assert focused(page, "value") == "18..6"
    page.keyboard.press("Control+A")
    page.keyboard.type("18.60")
    page.get_by_role("button", name="Compare").press("Enter")
    page.wait_for_selector(".saved")
    assert "2 places differ from what is on record." in told(page)
    assert "Typed a second time by dee: 2 of 10 places differed then." in told(page)
    assert [tuple(row[:4]) for row in rows(page)] == [
        ("Position 2: TWIN", "pin A", "18.4 mm", "18.5"),
        ("Position 3: C-3", "unit", "in", "mm"),
    ]
    hold_up(page)
    page.get_by_role("link", name="Entry quality: all sheets").press("Enter")
    assert WEAR_CHECK not in told(page)


def type_the_landings_again(page):
    """Without scripts; the record was wrong, and is corrected."""
    page.get_by_role("link", name=f"sheet {LANDINGS}").press("Enter")
    landings = page.get_by_label("ZZ-A, landings")
    landings.fill("4.5")
    landings.press("Enter")
    assert "ZZ-A, landings is '4.5', not a whole number" in page.locator(".refusal").inner_text()
    landings.fill("5")
    landings.press("Enter")
    result = page.url
    assert [row[:4] for row in rows(page)] == [["ZZ-A", "landings", "4", "5"]]
    page.locator("a.mend").press("Enter")
    page.get_by_label("Full stops").fill("5")
    page.get_by_label("Reason").fill("as on the paper")
    page.keyboard.press("Enter")
    page.wait_for_url("**#moved")
    page.goto(result)
    assert "both typings agree." in told(page)
    assert "Typed a second time by dee: 1 of 1 place differed then." in told(page)
