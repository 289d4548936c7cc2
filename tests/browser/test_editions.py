"""An edition in headless Chromium, without a pointer: frozen, read, printed, charted, withdrawn with a reason."""

import datetime as dt

import pytest
from axe_playwright_python.sync_playwright import Axe

from db.people import add_person
from db.session import Session, open_engine
from tests.api.shown_fleet import make_shown_fleet
from tests.browser.field_service import serving

DESK = {"width": 1440, "height": 900}
WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
A4_PX = {"width": 703, "height": 1032}


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    url = f"sqlite:///{tmp_path_factory.mktemp('editions') / 'ledger.db'}"
    make_shown_fleet(url)
    engine = open_engine(url)
    with Session(engine) as session, session.begin():
        for name, role in (("pla", "planner"), ("rea", "reader")):
            add_person(session, name, role, now=dt.datetime.now(dt.UTC))
    engine.dispose()
    with serving(url) as made:
        yield made


@pytest.fixture
def page_of(browser, service):
    contexts = []

    def open_page(name):
        made = browser.new_context(base_url=service.address, viewport=DESK)
        made.set_default_timeout(60_000)
        made.add_cookies([service.cookie(name)])
        contexts.append(made)
        return made.new_page()

    yield open_page
    for each in contexts:
        each.close()


def test_a_brief_is_frozen_read_by_the_decision_maker_and_withdrawn(page_of):
    planner, said = page_of("pla"), []
    planner.on("console", lambda message: said.append(message.text))
    planner.goto("/retrofit?from=S-100&to=C-200")
    told = planner.locator(".answer").inner_text()
    planner.locator("#title").focus()
    planner.keyboard.type("For the board")
    with planner.expect_navigation():
        planner.keyboard.press("Enter")
    address = planner.url
    assert planner.locator(".answer").inner_text() == told
    planner.wait_for_selector("[data-figure]:not([data-drawn])", state="detached")
    assert planner.locator("[data-drawn=yes]").count() == 2
    assert [each["id"] for each in Axe().run(planner).response["violations"]] == []
    planner.set_viewport_size({"width": 320, "height": 900})
    assert planner.evaluate(WIDE) == 0
    planner.emulate_media(media="print")
    planner.set_viewport_size(A4_PX)
    assert planner.get_by_role("heading", name="How this edition is kept").is_visible()
    assert not planner.locator("#reason").is_visible()
    planner.emulate_media(media="screen")
    planner.set_viewport_size(DESK)

    reader = page_of("rea")
    reader.goto("/")
    line = reader.locator("tr", has_text="For the board")
    assert "now the same" in line.inner_text()
    line.get_by_role("link").focus()
    with reader.expect_navigation():
        reader.keyboard.press("Enter")
    assert reader.url == address
    assert reader.locator("#reason").count() == 0

    planner.locator("#reason").focus()
    planner.keyboard.type("the kit has another price")
    with planner.expect_navigation():
        planner.keyboard.press("Enter")
    assert "Withdrawn on" in planner.locator(".limit").inner_text()
    reader.goto("/")
    assert reader.locator("tr", has_text="For the board").count() == 0
    reader.goto("/editions")
    assert "the kit has another price" in reader.locator("tr", has_text="For the board").inner_text()
    assert said == []
