"""The People page, one's own account and the way in, in headless Chromium."""

import pytest
from axe_playwright_python.sync_playwright import Axe

OURS = {"people": "/people", "account": "/account"}
WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture
def heard(page):
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    return said


@pytest.mark.parametrize("path", OURS.values(), ids=OURS)
def test_the_page_is_accessible_narrow_and_quiet(page, heard, path):
    page.goto(path)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate(WIDE) == 0
    assert heard == []


def test_somebody_is_added_comes_in_sets_a_password_and_signs_in_again_without_a_pointer(
    page, browser, address, heard
):
    page.goto("/people")
    page.locator("#name").focus()
    page.keyboard.type("new hand")
    page.keyboard.press("Enter")
    link = page.locator(".once code").inner_text()
    own = browser.new_context(base_url=address)
    own.set_default_timeout(60_000)
    theirs = own.new_page()
    theirs.goto(link)
    theirs.goto("/account")
    assert "new hand, clerk, every base" in theirs.locator(".answer").inner_text()
    theirs.locator("#new").focus()
    theirs.keyboard.type("grey otter at noon")
    with theirs.expect_navigation():
        theirs.keyboard.press("Enter")
    theirs.get_by_role("button", name="Sign out").focus()
    theirs.keyboard.press("Enter")
    theirs.wait_for_url("**/sign-in")
    found = Axe().run(theirs)
    assert found.violations_count == 0, found.generate_report()
    theirs.locator("#name").focus()
    theirs.keyboard.type("new hand")
    theirs.keyboard.press("Tab")
    theirs.keyboard.type("grey otter at noon")
    theirs.keyboard.press("Enter")
    theirs.wait_for_url(f"{address}/")
    assert theirs.goto("/people").status == 403
    own.close()
    page.goto("/people")
    page.get_by_role("button", name="End access of new hand").click()
    assert "ended" in page.locator("tr", has_text="new hand").first.inner_text()
    assert heard == []


def test_every_field_of_a_password_is_masked(page, browser, address):
    page.goto("/account")
    outside = browser.new_context(base_url=address).new_page()
    outside.goto("/sign-in")
    fields = [
        *page.locator("[autocomplete$=-password]").all(),
        *outside.locator("[autocomplete$=-password]").all(),
    ]
    assert {each.get_attribute("id") for each in fields} >= {"new", "password"}
    assert [each.get_attribute("type") for each in fields] == ["password"] * len(fields)
    outside.context.close()


def test_a_form_of_another_site_changes_nothing(browser, let_in, address):
    """The browser itself says where the form comes from; the session's cookie does not come along either."""
    own = browser.new_context(storage_state=let_in)
    foreign = own.new_page()
    field = '<input name="name" value="intruder"><button>x</button>'
    form = f'<form method="post" action="{address}/people">{field}</form>'
    foreign.route("http://other.example/", lambda route: route.fulfill(body=form, content_type="text/html"))
    foreign.goto("http://other.example/")
    with foreign.expect_response("**/people") as answered:
        foreign.locator("button").click()
    assert answered.value.status in {401, 403}
    page = own.new_page()
    assert page.goto(f"{address}/people").status == 200
    assert "intruder" not in page.content()
    own.close()
