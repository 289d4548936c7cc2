"""Install and remove in headless Chromium, without a pointer: a change, a robbery, the shop, a slip typed back."""

import re
import sys

import pytest
from axe_playwright_python.sync_playwright import Axe

from db.lookup import brakes_by_serial
from db.session import Session, open_engine
from db.sheets import sheet_by_code
from db.whereabouts import whereabouts
from tests.browser.field_service import serving
from tests.ledger import TODAY
from tests.moving_fleet import make_moving_fleet

DESK = {"width": 1440, "height": 900}
WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
LOW = """() => [...document.querySelectorAll("main input:not([type=hidden]), main select, main button, main a")]
  .filter((each) => each.checkVisibility() && !each.closest("p, .refusal"))
  .map((each) => (/radio|checkbox/.test(each.type) ? each.closest("label") : each))
  .filter((each) => each.getBoundingClientRect().height < (each.matches(".entry [data-step]") ? 55.5 : 43.5))
  .map((each) => each.outerHTML.slice(0, 120))"""
FOCUSED = "() => document.activeElement.id || document.activeElement.name || document.activeElement.className"


class Hand:
    """Types and counts; it has no pointer."""

    def __init__(self, page):
        self.page, self.keys = page, 0

    def type(self, *texts):
        """Each text, and Enter after it."""
        for text in texts:
            self.page.keyboard.type(text)
            self.press("Enter")
            self.keys += len(text)

    def press(self, *names):
        for name in names:
            self.page.keyboard.press(name)
        self.keys += len(names)

    def go(self, *names):
        """Press, and wait for the page that comes."""
        with self.page.expect_navigation():
            self.press(*names)


@pytest.fixture(scope="module")
def service(sqlite_copies):
    with sqlite_copies("moves_served") as url:
        make_moving_fleet(url)
        with serving(url) as made:
            yield made


@pytest.fixture
def device(browser, service):
    contexts = []

    def open_device(**how):
        made = browser.new_context(base_url=service.address, viewport=DESK, **how)
        made.set_default_timeout(30_000)
        made.add_cookies([service.cookie("ann")])
        contexts.append(made)
        return made.new_page()

    yield open_device
    for each in contexts:
        each.close()


@pytest.fixture
def page(device):
    return device()


def told(service, serial):
    engine = open_engine(service.url)
    with Session(engine) as session:
        number = next(number for (name, _), number in brakes_by_serial(session).items() if name == serial)
        found = whereabouts(session, [number])[number].told
    engine.dispose()
    return found


def fill(page, **typed):
    for name, text in typed.items():
        field = page.locator(f"[name='{name.replace('__', '-')}']")
        if field.evaluate("(each) => each.tagName") == "SELECT":
            field.select_option(text)
        else:
            field.fill(text)


def test_a_sheet_is_issued_printed_brought_up_by_its_code_and_typed_back(page, service):
    hand = Hand(page)
    page.goto("/sheets")
    page.get_by_role("link", name="Move slip").click()
    page.locator("select[name=base]").select_option("Home")
    fill(page, registration="101", positions="3", work_order="WO-70")
    with page.expect_navigation():
        page.get_by_role("button", name="Issue").press("Enter")
    code = re.search(r"issued=(\w{5})", page.url)[1]
    printed = page.request.get(f"/sheets/{code}.pdf")
    assert printed.headers["content-type"] == "application/pdf"
    assert printed.body() == page.request.get(f"/sheets/{code}.pdf").body()
    page.goto("/sheets")
    assert page.locator("tbody tr", has_text=code).count() == 1
    assert page.evaluate(FOCUSED) == "code"
    hand.keys = 0
    page.keyboard.type(code.lower())
    hand.go("Enter")
    assert f"Typed back from move slip {code}." in page.locator("main").inner_text()
    assert page.evaluate(FOCUSED) == "work_order"
    hand.type("WO-70", "812", "2005")
    hand.go("Enter")
    hand.go("Enter")
    assert told(service, "AB-2005") == f"on ZZ-101, position 3, since {TODAY}"
    page.goto("/sheets")
    assert page.locator("tbody tr", has_text=code).count() == 0
    engine = open_engine(service.url)
    with Session(engine) as session:
        assert sheet_by_code(session, code).posted_by == "ann"
    engine.dispose()


def test_a_key_pressed_as_soon_as_a_page_is_there_is_heard(page):
    """Of the tests' own hand: without its wait for the first painting about one key in six was lost."""
    heard = []
    for _ in range(10):
        page.goto("/sheets")
        page.keyboard.press("x")
        heard.append(page.locator("#code").input_value())
    assert heard == ["x"] * 10


def test_a_wrong_last_four_are_refused_beside_the_field_and_the_summary_leads_there(page, service):
    page.goto("/moves?registration=ZZ-001&position=1")
    fill(page, work_order="WO-1", off__0="1010", reason__0="worn", goes__0="scrap")
    page.locator("#off-0").focus()
    with page.expect_navigation():
        page.get_by_role("button", name="Look at what").press("Enter")
    assert page.evaluate(FOCUSED) == "refusal"
    assert page.locator("#off-0").input_value() == "1010"
    assert page.locator("#work_order").input_value() == "WO-1"
    beside = page.locator("#error-off-0").inner_text()
    assert "1010 does not end AB-1001" in beside
    page.keyboard.press("Tab")
    assert page.locator(":focus").inner_text() == beside
    page.keyboard.press("Enter")
    page.wait_for_url("**#off-0")
    assert told(service, "AB-1001") == "on ZZ-001, position 1, since 2026-01-01"


def test_serials_that_end_alike_are_told_beside_the_field_and_the_hand_goes_on(page):
    page.goto("/moves?registration=ZZ-001&position=1")
    page.locator("#on-0").focus()
    page.keyboard.type("2004")
    page.keyboard.press("Enter")
    assert page.evaluate(FOCUSED) == "pin-0", "the focus is where Enter takes it"
    page.wait_for_function("() => document.querySelector('output[for=on-0]').textContent.includes('XY-2004')")
    assert page.evaluate(FOCUSED) == "pin-0"
    assert page.locator("output[for=on-0]").inner_text().startswith("Taken: AB-2004")


def test_two_brakes_of_one_aircraft_are_changed_under_one_work_order_without_a_pointer(page, service, capsys):
    hand = Hand(page)
    page.goto("/moves")
    assert page.evaluate(FOCUSED) == "registration"
    page.keyboard.type("001")
    hand.keys += 3
    hand.go("Enter")
    hand.press("Space", "Tab", "Tab", "Space")
    hand.go("Enter")
    hand.type("WO-71", "900")
    hand.type("1001", "w", "5.2 5.4", "s", "2004", "")
    hand.type("1002", "l", "6.1 6.0", "s", "2006")
    hand.go("Enter")
    assert "nothing is recorded yet" in page.locator(".answer").inner_text()
    hand.go("Enter")
    with capsys.disabled():
        sys.stdout.write(f"\nkeys for a change of two brakes under one work order: {hand.keys}; pointer: 0\n")
    assert hand.keys <= 90
    assert "Recorded under work order WO-71." in page.locator(".saved").inner_text()
    for serial, place in (
        ("AB-1001", f"at the shop (overhaul) since {TODAY}"),
        ("AB-1002", f"at the shop (overhaul) since {TODAY}"),
        ("AB-2004", f"on ZZ-001, position 1, since {TODAY}"),
        ("AB-2006", f"on ZZ-001, position 2, since {TODAY}"),
    ):
        assert told(service, serial) == place
    assert page.evaluate("() => Object.keys(localStorage).filter((each) => each.includes('move '))") == []


def test_a_brake_comes_back_from_the_shop_in_exchange_and_its_form_is_found_from_the_serial(page, service):
    hand = Hand(page)
    page.goto("/moves")
    hand.press("Tab", "Tab")
    assert page.evaluate(FOCUSED) == "serial"
    page.keyboard.type("1001")
    hand.go("Enter")
    assert "AB-1001 is at the shop (overhaul)" in page.locator(".answer").inner_text()
    page.get_by_label("another serial came back").check()
    fill(page, serial_back="EX-0001", cost="900", currency="eur", to_base="Home")
    page.get_by_label("that serial is new here").check()
    with page.expect_navigation():
        page.get_by_role("button", name="Record it").press("Enter")
    assert told(service, "EX-0001") == f"in stock at Home, serviceable, since {TODAY}"
    assert told(service, "AB-1001") == f"left with the shop in exchange since {TODAY}"


@pytest.mark.parametrize("scripts", [True, False], ids=["with script", "without"])
def test_a_brake_is_robbed_from_another_aircraft_in_one_act(device, service, scripts):
    donor, taker, day = ("ZZ-002", "ZZ-102", "1 feb 2026") if scripts else ("ZZ-102", "ZZ-101", str(TODAY))
    serial, since = "AB-1003", "2026-02-01" if scripts else TODAY
    page = device(java_script_enabled=scripts)
    page.goto(f"/moves?registration={taker}&position=1")
    fill(page, day=day, work_order=f"WO-8{scripts:d}", on__0=serial[-4:])
    look = page.get_by_role("button", name="Look at what")
    with page.expect_navigation():
        look.press("Enter")
    assert f"{serial} is on {donor}, position 1" in page.locator("#error-rob-0").inner_text()
    page.locator("#rob-0").check()
    fill(page, roblandings__0="70")
    with page.expect_navigation():
        look.press("Enter")
    assert (
        f"leaves {donor} position 1 empty. It is recorded all the same"
        in page.locator("ul.notice").inner_text()
    )
    with page.expect_navigation():
        page.get_by_role("button", name="Record it").press("Enter")
    assert told(service, serial) == f"on {taker}, position 1, since {since}"
    page.goto("/moves")
    assert page.locator("tbody tr", has_text=f"{donor}, 1").count() == 1


PAGES = {
    "start": "/moves",
    "aircraft": "/moves?registration=ZZ-001",
    "form": "/moves?registration=ZZ-001&position=1&position=2",
    "brake": "/moves/brake?serial=AB-1002",
    "new brake": "/moves/brake?serial=NONE-1",
    "sheets": "/sheets",
}


def check(page):
    found = Axe().run(page)
    assert [(each["id"], each["nodes"][0]["html"]) for each in found.response["violations"]] == []
    assert page.evaluate(LOW) == []
    for width in (1440, 820, 320):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate(WIDE) == 0, width
    page.set_viewport_size(DESK)


@pytest.mark.parametrize("path", PAGES.values(), ids=PAGES)
def test_every_page_of_it_is_accessible_roomy_and_narrow(page, path):
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(path)
    check(page)
    assert [each for each in said if "status of 404" not in each] == []


def test_what_was_refused_and_what_will_be_recorded_are_accessible_too(page):
    page.goto("/moves?registration=ZZ-101&position=2")
    fill(page, work_order="WO-9", on__0="0004")
    with page.expect_navigation():
        page.get_by_role("button", name="Look at what").press("Enter")
    assert page.locator("#error-on-0").count() == 1
    check(page)
    fill(page, on__0="XY-2004", start__0="unknown")
    with page.expect_navigation():
        page.get_by_role("button", name="Look at what").press("Enter")
    assert "outside the effectivity" in page.locator("ul.notice").inner_text()
    check(page)


def test_a_page_of_it_weighs_at_most_90_kb_and_loads_no_chart(page):
    weights = []
    page.on("response", lambda answer: weights.append((answer.url, len(answer.body()))))
    page.goto("/moves?registration=ZZ-001&position=1&position=2&position=3&position=4")
    page.wait_for_load_state("networkidle")
    assert sum(weight for _, weight in weights) <= 90_000, weights
    assert not any("plotly" in url for url, _ in weights)
