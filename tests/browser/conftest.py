"""A real browser on a real server: the demo fleet is made once a run, and served by its own process on a free port."""

import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, sync_playwright

from tests.conftest import LoadedDemo

NO_BROWSER = "no Chromium was found; install the Debian package `chromium` (apt-get install chromium)"
BROWSERS = ("chromium", "chromium-browser")
PAINTED = "() => document.readyState === 'complete' && performance.getEntriesByType('paint').length > 0"
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
DESK = {"width": 1440, "height": 900}
SERVING = "import sys; from api.cli import main; sys.exit(main(sys.argv[1:]))"


@pytest.fixture(scope="session")
def demo_database(loaded_demo: LoadedDemo, tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("served") / "demo.db"
    shutil.copy(loaded_demo.url.removeprefix("sqlite:///"), path)
    return f"sqlite:///{path}"


@pytest.fixture(scope="session")
def entrance(demo_database: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The one-time link of a server that runs until the tests end."""
    said = tmp_path_factory.mktemp("server") / "said.txt"
    words = ["serve", "--db", demo_database, "--port", "0", "--link-for", "demo administrator"]
    with (
        said.open("w") as errors,
        subprocess.Popen(
            [sys.executable, "-c", SERVING, *words], stdout=subprocess.PIPE, stderr=errors, text=True
        ) as server,
    ):
        assert server.stdout is not None
        link = server.stdout.readline().strip()
        if not link.startswith("http"):
            pytest.fail(f"the server did not start: {said.read_text()}")
        yield link
        server.terminate()


@pytest.fixture(scope="session")
def address(entrance: str) -> str:
    return entrance.partition("/enter/")[0]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if found is None:
        pytest.fail(NO_BROWSER)
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=QUIET)
        yield started
        started.close()


def painted(page: Page) -> Page:
    until = time.monotonic() + 20
    while not page.evaluate(PAINTED):
        assert time.monotonic() < until, f"{page.url} was not painted"
        page.wait_for_timeout(5)
    return page


def then_loaded(act: Callable[..., Any]) -> Callable[..., Any]:
    def acted(at: Any, *words: Any, **how: Any) -> Any:
        done = act(at, *words, **how)
        if not how.get("no_wait_after"):
            (at if isinstance(at, Page) else at.page).wait_for_load_state()
        return done

    return acted


@pytest.fixture(scope="session", autouse=True)
def a_hand_no_faster_than_a_person() -> Iterator[None]:
    """
    Chromium drops the keys that come before a page's first painting, and a page has its address before its body.

    No hand and no eye is that fast, a test is.
    """
    keyboard, press = vars(Page)["keyboard"], Locator.press
    acts = {
        (Locator, "press"): lambda at, key, **how: (painted(at.page), press(at, key, **how))[1],
        (Locator, "click"): Locator.click,
        (Page, "wait_for_selector"): Page.wait_for_selector,
    }
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Page, "keyboard", property(lambda page: keyboard.fget(painted(page))))
        for (kind, name), act in acts.items():
            patch.setattr(kind, name, then_loaded(act))
        yield


@pytest.fixture(scope="session")
def let_in(browser: Browser, entrance: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The cookies of a browser that has used the link."""
    kept = tmp_path_factory.mktemp("session") / "state.json"
    context = browser.new_context()
    context.set_default_timeout(60_000)
    # The first page waits for the study; the others find it made.
    context.new_page().goto(entrance)
    context.storage_state(path=kept)
    context.close()
    return kept


@pytest.fixture(scope="session")
def context(browser: Browser, let_in: Path, address: str) -> Iterator[BrowserContext]:
    made = browser.new_context(base_url=address, storage_state=let_in, viewport=DESK)
    yield made
    made.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    made = context.new_page()
    yield made
    made.close()


@pytest.fixture(scope="session")
def firsts(context: BrowserContext) -> dict[str, str]:
    """Where the first rows lead: the brake that comes due first, the first assumption."""
    listed_on = {"FIRST BRAKE": "/changeouts", "FIRST ASSUMPTION": "/assumptions"}
    return {name: _first_link(context, path) for name, path in listed_on.items()}


def _first_link(context: BrowserContext, path: str) -> str:
    page = context.new_page()
    page.goto(path)
    found = page.locator("tbody th a").first.get_attribute("href")
    page.close()
    assert found is not None
    return found
