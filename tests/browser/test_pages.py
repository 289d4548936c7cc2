"""Every page of the demo fleet in headless Chromium: accessible, by keyboard, narrow, on paper, under the policy."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe

from api.pages.navigation import PLACES

PAGES = {
    "front": "/",
    "find": "/brakes?serial=0005",
    "brake": "FIRST BRAKE",
    "changeouts": "/changeouts",
    "spares": "/spares",
    "cost": "/cost",
    "retrofit": "/retrofit?from=LFB-310S&to=LFB-420C",
    "retrofit choice": "/retrofit",
    "editions": "/editions",
    "claim": "/claims?type=LFB-420C&claimed=1500",
    "claim choice": "/claims",
    "landings": "/landings?base=QUILLMERE&day=2026-10-30",
    "pins": "/pin-readings?aircraft=QO-LAC&day=2026-10-30",
    "pins choice": "/pin-readings?base=QUILLMERE",
    "events": "/events",
    "entry quality": "/entry-quality",
    "sheets": "/sheets",
    "wrong code": "/sheets/open?code=AAAAA",
    "moves": "/moves",
    "brake to move": "/moves/brake?serial=0005",
    "corrections": "/corrections",
    "held": "/held",
    "bring in": "/bring-in",
    "readings due": "/readings-due",
    "removals": "/removals",
    "wear drivers": "/wear-drivers",
    "model fit": "/model-fit",
    "against facts": "/against-facts?again=1",
    "assumptions": "/assumptions",
    "assumption": "FIRST ASSUMPTION",
    "people": "/people",
    "account": "/account",
    "refusal": "/changeouts?risk=7",
}
WITHOUT_FIGURES = (
    "find",
    "claim choice",
    "landings",
    "pins",
    "pins choice",
    "events",
    "entry quality",
    "sheets",
    "wrong code",
    "moves",
    "brake to move",
    "corrections",
    "held",
    "bring in",
    "assumptions",
    "assumption",
    "people",
    "account",
    "refusal",
)
REFUSED = {"refusal": 422, "wrong code": 409}
WITHOUT_CHARTS = (*WITHOUT_FIGURES, "front", "editions", "readings due", "wear drivers")
PAPER_PX = {"A4": (703, 1032), "Letter": (725, 965)}
FOCUS = "rgb(106, 27, 154) solid 3px"

OVERFLOWING = """() => [...document.querySelectorAll("body *")]
  .filter((each) => each.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .filter((each) => !each.closest(".sheet") || getComputedStyle(each.closest(".sheet")).overflowX === "visible")
  .filter((each) => !each.closest("svg") || each.matches("svg"))
  .map((each) => each.outerHTML.slice(0, 120))"""
STOPS = "a[href], input:not([type=hidden]), select, button, summary"
FOCUSABLE = f"""() => [...document.querySelectorAll("{STOPS}, [tabindex='0']")]
  .filter((each) => each.checkVisibility())
  .filter((each) => each.type !== "radio" || each.checked)
  .map((each, at) => (each.dataset.stop = String(at)))"""
# Where a page has put the focus on its first field, Tab would go on from there.
FROM_THE_TOP = """() => {
  document.body.tabIndex = -1;
  document.body.focus();
  document.body.removeAttribute("tabindex");
  window.scrollTo(0, 0);
}"""
# What each stop looks like is noted as the focus comes to it.
NOTE_FOCUS = """() => {
  window.reached = [];
  document.addEventListener("focusin", ({ target: on }) => {
    const { outlineColor: color, outlineStyle: drawn, outlineWidth: width } = getComputedStyle(on);
    window.reached.push([on.dataset.stop ?? on.tagName, `${color} ${drawn} ${width}`]);
  });
}"""
SMALL_TARGETS = f"""() => [...document.querySelectorAll("{STOPS}")]
  .filter((each) => each.checkVisibility() && !each.classList.contains("skip"))
  .map((each) => (each.type === "radio" ? each.closest("label") : each))
  .filter((each) => each.getBoundingClientRect().height < 43.5)
  .map((each) => each.outerHTML.slice(0, 120))"""


def wait_for_charts(page):
    page.wait_for_selector("[data-figure]:not([data-drawn])", state="detached")


@pytest.fixture(scope="module", params=PAGES)
def opened(request, context, firsts):
    """One page at the desk with its charts drawn, and what the console said."""
    page = context.new_page()
    said = []
    page.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: said.append(f"error: {error}"))
    path = PAGES[request.param]
    answer = page.goto(firsts.get(path, path))
    wait_for_charts(page)
    yield request.param, page, answer, said
    page.close()


def test_a_page_answers_in_one_sentence_first(opened):
    name, page, answer, _ = opened
    assert answer.status == REFUSED.get(name, 200)
    first = page.locator("main > *").nth(2)
    assert first.get_attribute("class") == ("refusal" if name in REFUSED else "answer")
    assert page.locator("h1").count() == 1
    assert "Planning record. Follow the approved maintenance manual." in page.locator("footer").inner_text()


def test_axe_finds_nothing(opened):
    _, page, _, _ = opened
    found = Axe().run(page)
    assert [(each["id"], each["nodes"][0]["html"]) for each in found.response["violations"]] == []


def test_nothing_breaks_the_content_policy_and_every_chart_is_drawn(opened):
    name, page, answer, said = opened
    policy = answer.headers["content-security-policy"]
    assert "script-src 'self'; style-src 'self'" in policy
    assert "unsafe" not in policy
    told = [line for line in said if f"status of {REFUSED.get(name)}" not in line]
    assert told == []
    drawn = page.locator("[data-figure]").evaluate_all("(all) => all.map((each) => each.dataset.drawn)")
    assert set(drawn) <= {"yes"}
    assert bool(drawn) == (name not in WITHOUT_CHARTS)


def test_the_chart_library_is_loaded_only_where_a_chart_is(opened):
    name, page, _, _ = opened
    libraries = page.locator("script[src*='plotly']").count()
    assert libraries == (0 if name in WITHOUT_CHARTS else 1)


def test_every_table_has_a_caption_and_scoped_headers(opened):
    _, page, _, _ = opened
    tables = page.locator("table")
    assert tables.locator("caption").count() == tables.count()
    assert page.locator("th:not([scope])").count() == 0


def test_targets_are_at_least_44_px(opened):
    _, page, _, _ = opened
    assert page.evaluate(SMALL_TARGETS) == []


def test_all_is_reached_by_keyboard_in_reading_order_with_focus_seen(opened):
    _, page, _, _ = opened
    wanted = page.evaluate(FOCUSABLE)
    page.evaluate(FROM_THE_TOP)
    page.evaluate(NOTE_FOCUS)
    for _ in wanted:
        page.keyboard.press("Tab")
    reached = page.evaluate("() => window.reached")
    assert [stop for stop, _ in reached] == wanted
    assert [(stop, outline) for stop, outline in reached if outline != FOCUS] == []


def test_where_it_comes_from_opens_by_keyboard_and_names_the_study(opened):
    name, page, _, _ = opened
    if name in WITHOUT_FIGURES:
        assert page.locator("details:has(dl#origin)").count() == 0
        return
    study = re.search(r"Study (S-\w+)", page.locator(".reach").inner_text()).group(1)
    page.locator("details:has(dl#origin) summary").first.press("Enter")
    told = page.locator("details:has(dl#origin)[open]").first.inner_text()
    assert study in told
    assert "records as known on" in told


# A4 is the narrower of the two.
@pytest.mark.parametrize("paper", ["A4", pytest.param("Letter", marks=pytest.mark.long)])
def test_paper_holds_all_of_a_page(opened, paper):
    name, page, _, _ = opened
    pages = page.pdf(format=paper, print_background=True).count(b"/Type /Page\n")
    assert 1 <= pages <= 12, name
    page.emulate_media(media="print")
    wide = page.locator("body.wide").count() == 1
    page.set_viewport_size({"width": PAPER_PX[paper][wide], "height": 900})
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    try:
        assert page.evaluate(OVERFLOWING) == []
        heads = page.locator("thead").evaluate_all(
            "(all) => all.map((each) => getComputedStyle(each).display)"
        )
        assert set(heads) <= {"table-header-group"}
        assert not page.locator("nav.pages").is_visible()
        assert page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle") == "none"
    finally:
        page.evaluate("() => window.dispatchEvent(new Event('afterprint'))")
        page.emulate_media(media="screen")
        page.set_viewport_size({"width": 1440, "height": 900})


def test_no_screen_scrolls_sideways(opened):
    _, page, _, _ = opened
    try:
        for width in (1440, 820, 320):
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("() => document.documentElement.scrollWidth") <= width, page.evaluate(
                OVERFLOWING
            )
    finally:
        page.set_viewport_size({"width": 1440, "height": 900})


def test_every_place_of_the_menu_is_opened_here():
    assert {place.path for place in PLACES} <= {path.partition("?")[0] for path in PAGES.values()}


def test_without_javascript_every_page_still_answers(browser, let_in, address, firsts):
    context = browser.new_context(base_url=address, storage_state=let_in, java_script_enabled=False)
    page = context.new_page()
    for name, path in PAGES.items():
        page.goto(firsts.get(path, path))
        assert page.locator(".answer, .refusal").first.inner_text()
        if name not in WITHOUT_CHARTS:
            assert page.locator("table tbody tr").count() > 0
            assert (
                "the table on this page holds the same figures"
                in page.locator("noscript p").first.inner_text()
            )
    context.close()


def test_a_page_without_a_chart_weighs_at_most_90_kb(page):
    weights = []
    page.on("response", lambda answer: weights.append(len(answer.body())))
    page.goto("/")
    page.wait_for_load_state("networkidle")
    assert sum(weights) <= 90_000


def test_a_wrong_question_is_kept_to_be_mended(page):
    page.goto("/changeouts?base=QUILLMERE&risk=7&on=3/4")
    typed = page.locator("main form input")
    assert typed.evaluate_all("(all) => all.map((each) => [each.name, each.value])") == [
        ["base", "QUILLMERE"],
        ["risk", "7"],
        ["on", "3/4"],
    ]
    page.get_by_label("Risk").fill("0.5")
    page.locator("input[name=on]").fill("2026-10-31")
    page.get_by_role("button", name="Ask again").click()
    assert "forecast from 31 Oct 2026" in page.locator(".reach").inner_text().replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_the_scope_is_kept_from_page_to_page(page):
    page.goto("/changeouts?base=OSKERRIN")
    page.get_by_role("link", name="Spares ahead").click()
    assert page.locator("#base").input_value() == "OSKERRIN"
    assert set(
        page.locator("tbody th").evaluate_all("(all) => all.map((each) => each.firstChild.data.trim())")
    ) == {"OSKERRIN"}


def test_nothing_moves(page):
    page.goto("/changeouts")
    moving = page.evaluate(
        """() => [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules])
          .filter((rule) => /transition|animation|@keyframes/.test(rule.cssText)).map((rule) => rule.cssText)"""
    )
    assert moving == []
