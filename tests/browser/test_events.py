"""A rejected take-off in headless Chromium: entered by keyboard, noticed on its brakes until its inspection."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.api.shown_fleet import LAST
from tests.browser.field_service import field_ledger, serving

RECORDED = "Event recorded. Follow the manual's procedure for it. No inspection is recorded here."
REGISTRATION, DAY = "ZZ-A", LAST.isoformat()


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with serving(field_ledger(tmp_path_factory)) as made:
        yield made


@pytest.fixture
def page(browser, service):
    context = browser.new_context(base_url=service.address, viewport={"width": 1440, "height": 900})
    context.set_default_timeout(60_000)  # a page after a write waits for a new study
    context.add_cookies([service.cookie("cle")])
    yield context.new_page()
    context.close()


def type_all(page, *texts):
    for text in texts:
        page.keyboard.type(text)
        page.keyboard.press("Enter")


def test_a_rejected_take_off_is_noticed_on_its_brakes_until_the_inspection_is_recorded(page):
    page.goto("/events")
    page.evaluate("() => localStorage.clear()")
    page.reload()
    assert page.evaluate("() => document.activeElement.id") == "registration-0"
    type_all(page, REGISTRATION.lower(), DAY, "r", "118", "64000", "1 2", "at the holding point")
    page.wait_for_url("**said=event")
    assert page.locator("[role=status]").first.inner_text() == RECORDED
    waiting = page.locator("section.waiting", has_text=REGISTRATION)
    assert waiting.count() == 2
    told = waiting.first.inner_text()
    assert RECORDED in told
    # 0.1323 * 64000 kg * (118 kt)^2 / 4 wheels = 29.5 MJ
    assert "\N{ALMOST EQUAL TO}" in told
    assert "29.5" in told
    assert "an estimate from" in told
    sheet = f"/pin-readings?aircraft={REGISTRATION}&day={DAY}"
    page.goto(sheet)
    rows = page.locator("fieldset.brake-row")
    assert [RECORDED in row for row in rows.all_inner_texts()] == [True] * 2 + [False] * 2
    serial = rows.first.locator("legend").inner_text().split()[2]
    page.goto(f"/brake?serial={serial}")
    assert RECORDED in page.locator("main").inner_text()
    page.goto("/")
    assert "without" in page.locator("main").inner_text()
    for _ in range(2):
        inspect(page)
    page.goto(sheet)
    assert "Inspection recorded, work order W-311." in rows.first.inner_text()
    assert RECORDED not in page.locator("main").inner_text()
    page.goto(f"/brake?serial={serial}")
    assert "Inspection recorded, work order W-311." in page.locator("main").inner_text()


def inspect(page):
    page.goto("/events")
    first = page.locator("section.waiting", has_text=REGISTRATION).first
    first.locator("input[name=day]").focus()
    page.keyboard.press("Enter")
    page.locator(".refusal").wait_for()
    assert "The work order of the inspection is wanted." in page.locator(".refusal").inner_text()
    first.locator("input[name=day]").focus()
    page.keyboard.type(DAY)
    page.keyboard.press("Tab")
    page.keyboard.type("W-311")
    page.keyboard.press("Enter")
    page.wait_for_url("**said=inspection*")


def test_an_event_without_its_aircraft_keeps_what_was_typed(page):
    page.goto("/events?registration=QO-NONE&day=2026-10-30")
    page.locator("#mass_kg-0").fill("heavy")
    page.get_by_role("button", name="Record the event").click()
    refusal = page.locator(".refusal")
    refusal.wait_for()
    assert page.locator("#registration-0").input_value() == "QO-NONE"
    assert page.locator("#mass_kg-0").input_value() == "heavy"
    refusal.locator("a").first.press("Enter")
    assert page.evaluate("() => document.activeElement.getAttribute('aria-invalid')") == "true"


def test_accessible_and_narrow_with_an_event_waiting(page):
    page.goto(f"/events?registration={REGISTRATION}&day={DAY}")
    page.get_by_label("What happened").select_option("overheat")
    page.get_by_role("button", name="Record the event").click()
    page.wait_for_url("**said=event")
    found = Axe().run(page)
    assert [(each["id"], each["nodes"][0]["html"]) for each in found.response["violations"]] == []
    for width in (1440, 820, 320):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("() => document.documentElement.scrollWidth") <= width
