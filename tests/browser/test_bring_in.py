"""A file of another source brought in by keyboard: matched, tried, mended, loaded, withdrawn; on a small ledger."""

import subprocess
import sys

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.api.shown_fleet import make_shown_fleet
from tests.browser.conftest import DESK, SERVING

WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
HEADER = "Kennzeichen;Tag;Landungen;Stunden;Bemerkung"
GOOD = [f"ZZ-A;{day:02d}.06.2026;{day % 5};{day % 7},5;" for day in range(1, 21)]
WRONG = [
    "ZZ-A;21.06.2026;vier;1,0;",
    "ZZ-A;2026-06-22;4;1,0;",
    "ZZ-A;23.06.2026;4;1.5;",
    "ZZ-A;31.06.2026;4;1,0;",
    "ZZ-Q;24.06.2026;4;1,0;",
    "ZZ-A;25.06.2026;-4;1,0;",
]
MENDED = [f"ZZ-A;{day}.06.2026;4;1,0;" for day in range(21, 27)]
CHOSEN = {"registration": "Kennzeichen", "day": "Tag", "full_stops": "Landungen", "flight_hours": "Stunden"}


@pytest.fixture(scope="module")
def link(tmp_path_factory):
    """The one-time link of a server on a ledger of its own."""
    folder = tmp_path_factory.mktemp("bring")
    url = f"sqlite:///{folder / 'ledger.db'}"
    make_shown_fleet(url)
    words = ["serve", "--db", url, "--port", "0", "--link-for", "clerk of the tests"]
    with (
        (folder / "said.txt").open("w") as errors,
        subprocess.Popen(
            [sys.executable, "-c", SERVING, *words], stdout=subprocess.PIPE, stderr=errors, text=True
        ) as server,
    ):
        yield server.stdout.readline().strip()
        server.terminate()


@pytest.fixture(scope="module", params=["with JavaScript", "without JavaScript"])
def clerk(request, browser, link, tmp_path_factory):
    """A browser that came in by the link; the second takes the first one's cookies, as the link works once."""
    kept = tmp_path_factory.getbasetemp() / "bring-in-state.json"
    context = browser.new_context(
        base_url=link.partition("/enter/")[0],
        viewport=DESK,
        java_script_enabled=request.param == "with JavaScript",
        **({"storage_state": kept} if kept.exists() else {}),
    )
    context.set_default_timeout(60_000)
    page = context.new_page()
    if not kept.exists():
        page.goto(link)
        context.storage_state(path=kept)
    yield page
    context.close()


def table(folder, name, rows):
    path = folder / name
    path.write_bytes("\n".join([HEADER, *rows]).encode("cp1252"))
    return path


def press(page, name):
    """Go to a button by keyboard alone, and press it."""
    page.get_by_role("button", name=name).focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")


def check_file(page, path, source):
    page.locator("#files").set_input_files(path)
    page.locator("#source").fill(source)
    for name, word in (
        ("encoding", "windows-1252"),
        ("separator", "semicolon"),
        ("decimal", "comma"),
        ("days", "day-month-year"),
    ):
        page.locator(f"#{name}").select_option(word)
    press(page, "Check these files")


def looked_at(page, *, scripts):
    """What axe (which is a script) and a narrow screen find wrong with the page."""
    found = [each["id"] for each in Axe().run(page).response["violations"]] if scripts else []
    page.set_viewport_size({"width": 320, "height": 640})
    sideways = page.evaluate(WIDE)
    page.set_viewport_size(DESK)
    return [*found, *(["sideways"] if sideways else [])]


def test_a_file_of_another_source_is_brought_in_and_withdrawn_by_keyboard(clerk, tmp_path, request):
    page, scripts = clerk, request.node.callspec.id.startswith("with J")
    source = "hangar list" if scripts else "list of another hangar"
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.goto("/bring-in")
    assert looked_at(page, scripts=scripts) == []
    check_file(page, table(tmp_path, "juni.csv", GOOD + WRONG), source)
    assert "match its columns" in page.locator(".answer").inner_text()
    page.locator("select[name=kind]").select_option("landings")
    press(page, "Show its columns")
    assert looked_at(page, scripts=scripts) == []
    for ours, theirs in CHOSEN.items():
        page.locator(f"select[name=from_{ours}]").select_option(theirs)
    press(page, "Keep this match and check")
    assert "20 ready, 6 need fixing, 0 on record already" in page.locator(".answer").inner_text()
    assert looked_at(page, scripts=scripts) == []
    rows = page.get_by_role("region", name="6 errors, and what to do").locator("tbody tr")
    assert rows.locator("td:nth-child(2)").all_inner_texts() == ["22", "23", "24", "25", "26", "27"]
    assert page.locator("button[value=load]").count() == 0
    press(page, "Throw this upload away")

    page.get_by_role("link", name=source, exact=True).focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator("#decimal").input_value() == "comma"
    check_file(page, table(tmp_path, "juni-2.csv", GOOD + MENDED), source)
    assert "26 ready, 0 need fixing" in page.locator(".answer").inner_text()
    press(page, "Load 26")
    assert "26" in page.locator(".answer").inner_text()
    assert looked_at(page, scripts=scripts) == []
    page.locator("#reason_why").fill("the wrong month")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert "Withdrawn whole by" in page.locator(".answer").inner_text()
    page.goto("/bring-in")
    assert "withdrawn by" in page.locator("#loads").locator("xpath=ancestor::table").inner_text()
    assert said == []
