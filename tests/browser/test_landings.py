"""A day of the clerk's work on the Landings sheet, by keyboard alone, and all that can go wrong with the network."""

import datetime as dt
import itertools
import statistics
import sys
import time

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.field_service import BASE, CRAFT, LossyLine, field_ledger, serving
from tests.browser.typed_landings import (
    Keys,
    lines_kept,
    on_record,
    open_sheet,
    wait_for_outbox,
    wait_until,
    wait_until_sent,
)

DAYS = (dt.date(2026, 6, 1) + dt.timedelta(days) for days in itertools.count())
TYPED = [4, 0, 3, 5, 2, 6, 1, 4, 4, 0, 7, 3]
DESK = {"width": 1440, "height": 900}
ECHO = """() => {
  window.echoes = [];
  document.querySelector("form.entry").addEventListener("keydown", () => (window.began = performance.now()), true);
  new MutationObserver(() => window.echoes.push(performance.now() - window.began))
    .observe(document.querySelector("form.entry table"), { subtree: true, childList: true, characterData: true });
}"""


@pytest.fixture(scope="module")
def ledger_service(tmp_path_factory):
    with serving(field_ledger(tmp_path_factory)) as made:
        yield made


@pytest.fixture
def service(ledger_service):
    """The service, running: a test that kills it and fails does not take the others along."""
    if ledger_service.process.poll() is not None:
        ledger_service.start()
    return ledger_service


@pytest.fixture
def on_device(browser, service):
    """A page on a device of its own in somebody's name, by a line of its own where one is given."""
    contexts = []

    def open_device(name="cle", *, line=None, scripts=True):
        address = line.address if line else service.address
        made = browser.new_context(base_url=address, viewport=DESK, java_script_enabled=scripts)
        made.set_default_timeout(30_000)
        made.add_cookies([service.cookie(name, address)])
        contexts.append(made)
        return made.new_page()

    yield open_device
    for each in contexts:
        each.close()


@pytest.fixture
def day():
    return next(DAYS).isoformat()


def test_twelve_aircraft_their_total_and_the_post_take_thirty_keys_and_no_pointer(on_device, service, day):
    page = open_sheet(on_device(), day)
    page.evaluate(ECHO)
    keys = Keys(page)
    for count in TYPED:
        keys.line(count)
    echoes = page.evaluate("() => window.echoes")
    assert page.locator("[data-echo]").first.inner_text() == "+4 \u2192 10\u202f004"
    began = time.perf_counter()
    keys.line(sum(TYPED))
    page.wait_for_selector(".saved")
    save_ms = 1000 * (time.perf_counter() - began)
    sys.stdout.write(
        f"\n{keys.pressed} keys; echo {max(echoes):.0f} ms at most; saved and shown in {save_ms:.0f} ms"
    )
    assert keys.pressed <= 30
    assert on_record(service, day) == dict(zip(CRAFT, TYPED, strict=True))
    assert f"All 12 aircraft of {BASE} are reported" in page.locator(".answer").inner_text()
    page.wait_for_function("() => !Object.keys(localStorage).length")


def test_a_running_total_takes_six_keys(on_device, service, day):
    page = open_sheet(on_device(), day, "total")
    keys = Keys(page)
    before = page.locator("[data-line]").evaluate_all(
        "(all) => all.map((each) => Number(each.dataset.before))"
    )
    totals = {name: total + count for name, total, count in zip(CRAFT, before, TYPED, strict=True)}
    for total in totals.values():
        keys.line(total)
    assert keys.pressed == 6 * 12
    assert page.locator("[data-echo]").first.inner_text().startswith("+4 ")
    keys.line("")
    page.wait_for_selector(".saved, .refusal")
    assert page.locator(".saved").count() == 1, page.locator("main").inner_text()
    sys.stdout.write(f"\n{keys.pressed} keys for twelve running totals and the post\n")
    assert on_record(service, day) == totals


def test_swapped_running_totals_are_asked_about_and_the_summary_has_the_focus(on_device, service, day):
    page = open_sheet(on_device(), day, "total")
    keys = Keys(page)
    before = page.locator("[data-line]").evaluate_all(
        "(all) => all.map((each) => Number(each.dataset.before))"
    )
    swapped = [before[1] + 3, before[0] + 2]
    for total in swapped:
        keys.line(total)
    page.locator("[data-post]").press("Enter")
    page.wait_for_selector(".refusal")
    assert page.evaluate("() => document.activeElement.className") == "refusal"
    summary = page.locator(".refusal").inner_text()
    assert f"{CRAFT[0]}: {swapped[0]}: looks swapped with {CRAFT[1]}" in summary
    beside = [each for each in page.locator("td .field-error").all_inner_texts() if each]
    assert sorted(beside) == sorted(page.locator(".refusal li").all_inner_texts())
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("() => document.activeElement.value") in map(str, swapped)
    assert on_record(service, day) == {}
    assert Axe().run(page).response["violations"] == []


def test_a_paste_is_matched_by_registration(on_device, service, day):
    page = open_sheet(on_device(), day)
    text = "\n".join(["Reg\tLandings", f"{CRAFT[2]}\t7", "ZX-QQ\t9", f"{CRAFT[0]}\t3"])
    page.evaluate(
        """(text) => {
          const data = new DataTransfer();
          data.setData("text/plain", text);
          const paste = { clipboardData: data, bubbles: true, cancelable: true };
          document.activeElement.dispatchEvent(new ClipboardEvent("paste", paste));
        }""",
        text,
    )
    page.wait_for_selector(".notice")
    assert "No aircraft is called ZX-QQ." in page.locator("main").inner_text()
    values = page.locator("[data-step]").evaluate_all("(all) => all.map((each) => each.value)")
    assert values[:4] == ["3", "", "7", ""]
    page.locator("[data-post]").press("Enter")
    page.wait_for_selector(".saved")
    assert on_record(service, day) == {CRAFT[0]: 3, CRAFT[2]: 7}


def test_without_scripts_a_sheet_is_posted_all_the_same(on_device, service, day):
    page = on_device(scripts=False)
    page.goto("/landings")
    page.locator("#base").select_option(BASE)
    page.locator("#day").fill(day)
    page.get_by_role("button", name="Show").press("Enter")
    page.locator("[data-step]").first.fill("4")
    page.get_by_role("button", name="Post the sheet").press("Enter")
    assert page.locator(".saved").count() == 1
    assert on_record(service, day) == {CRAFT[0]: 4}


def test_a_count_of_the_past_is_corrected_with_its_reason(on_device, service, day):
    page = open_sheet(on_device(), day)
    Keys(page).line(4)
    page.locator("[data-post]").press("Enter")
    page.wait_for_selector(".saved")
    page.locator("a.mend").first.press("Enter")
    page.locator("#value_full_stops").fill("5")
    page.locator("#reason_why").fill("read again from the sheet")
    page.keyboard.press("Enter")
    page.wait_for_url("**#moved")
    page.wait_for_selector("#moved:not(:has([data-asked]))")
    assert "No middle forecast moved" in page.locator("#moved").inner_text()
    assert Axe().run(page).response["violations"] == []
    assert "Version 2, corrected by cle: read again from the sheet." in page.locator(".answer").inner_text()
    assert on_record(service, day) == {CRAFT[0]: 5}


def test_a_server_killed_in_mid_sheet_loses_nothing_and_doubles_nothing(on_device, service, day):
    page = open_sheet(on_device(), day)
    keys = Keys(page)
    for count in TYPED[:4]:
        keys.line(count)
    wait_until_sent(page)
    service.kill()
    for count in TYPED[4:8]:
        keys.line(count)
    wait_for_outbox(page, "4 not yet sent: no connection.")
    page.locator("[data-post]").press("Enter")
    wait_for_outbox(page, "nothing is posted, nothing is lost")
    with page.expect_event("requestfailed"):
        page.evaluate("() => window.dispatchEvent(new Event('online'))")
    page.wait_for_timeout(200)
    wait_for_outbox(page, "nothing is posted, nothing is lost")
    service.start()
    page.evaluate("() => window.dispatchEvent(new Event('online'))")
    wait_until_sent(page)
    assert on_record(service, day) == {}
    kept = lines_kept(service, day)
    assert [(place, typed["full_stops"]) for place, typed, _ in sorted(kept, key=lambda each: each[0])] == [
        (name, str(count)) for name, count in zip(CRAFT[:8], TYPED[:8], strict=True)
    ]
    page.locator("[data-post]").press("Enter")
    page.wait_for_selector(".saved")
    assert on_record(service, day) == dict(zip(CRAFT[:8], TYPED[:8], strict=True))


def test_an_answer_lost_after_the_commit_doubles_nothing(on_device, service, day):
    line = LossyLine(service.port)
    page = open_sheet(on_device(line=line), day)
    line.lose("/sheets/lines", 3)
    keys = Keys(page)
    for count in TYPED:
        keys.line(count)
    wait_until_sent(page)
    assert line.lost == 3
    assert len(lines_kept(service, day)) == 12
    line.lose("/landings", 10)
    page.locator("[data-post]").press("Enter", no_wait_after=True)
    until = time.monotonic() + 20
    while line.lost == 3 and time.monotonic() < until:
        page.wait_for_timeout(50)
    assert line.lost > 3
    assert on_record(service, day) == dict(zip(CRAFT, TYPED, strict=True))
    line.lose("", 0)
    # The tab is still on its way to the browser's own page of an answer that was lost.
    page = open_sheet(page.context.new_page(), day)
    assert f"All 12 aircraft of {BASE} are reported" in page.locator(".answer").inner_text()
    assert on_record(service, day) == dict(zip(CRAFT, TYPED, strict=True))
    assert all(state == "posted" for _, _, state in lines_kept(service, day))
    line.close()


def test_a_tab_killed_while_typing_goes_on_where_it_was(on_device, service, day):
    page = open_sheet(on_device(), day)
    keys = Keys(page)
    keys.line(4)
    page.keyboard.press("9")
    page.close()
    again = open_sheet(page.context.new_page(), day)
    values = again.locator("[data-step]").evaluate_all("(all) => all.map((each) => each.value)")
    assert values[:3] == ["4", "9", ""]
    assert again.evaluate("() => document.activeElement.getAttribute('aria-label')").startswith(CRAFT[2])
    again.locator("[data-post]").press("Enter")
    again.wait_for_selector(".saved")
    assert on_record(service, day) == {CRAFT[0]: 4, CRAFT[1]: 9}


def test_two_devices_on_one_sheet_keep_both_and_ask(on_device, service, day):
    one, other = open_sheet(on_device("cle"), day), open_sheet(on_device("dee"), day)
    Keys(one).line(4)
    wait_until_sent(one)
    Keys(other).line(5)
    told = other.locator("[data-told]").first
    other.wait_for_function("() => document.querySelector('[data-told]').textContent")
    assert told.inner_text() == "Elsewhere 4 was typed by cle: type the right one here."
    one.locator("[data-post]").press("Enter")
    one.wait_for_selector(".refusal")
    assert f"two devices differ in {CRAFT[0]}" in one.locator(".refusal").inner_text().lower().replace(
        "zy-aa", CRAFT[0]
    )
    assert on_record(service, day) == {}
    assert sorted(typed["full_stops"] for _, typed, _ in lines_kept(service, day)) == ["4", "5"]
    open_sheet(one, day)
    assert "Two devices differ: 4 by cle; 5 by dee." in one.locator("[data-told]").first.inner_text()
    one.locator("[data-step]").first.fill("5")
    one.locator("[data-post]").press("Enter")
    one.wait_for_selector(".saved")
    assert on_record(service, day) == {CRAFT[0]: 5}


def test_a_line_typed_after_another_posted_stops_nobody_and_is_dropped_by_keyboard(on_device, service, day):
    cora, dirk = open_sheet(on_device("cle"), day), open_sheet(on_device("dee"), day)
    Keys(cora).line(2)
    cora.locator("[data-post]").press("Enter")
    cora.wait_for_selector(".saved")
    Keys(dirk).line(7)
    wait_for_outbox(dirk, f"Typed against the record, kept and not posted: {CRAFT[0]}.")
    told = dirk.locator("[data-told]").first
    assert f"7 is kept and not posted: {CRAFT[0]} is on record for this day." in told.inner_text()
    assert told.locator("a").get_attribute("href").startswith("/corrections/")
    Keys(dirk).line(3)
    dirk.locator("[data-post]").press("Enter")
    dirk.wait_for_selector(".saved")
    assert on_record(service, day) == {CRAFT[0]: 2, CRAFT[1]: 3}
    open_sheet(cora, day)
    late = cora.locator(".late")
    assert "7 was typed by dee after this was posted: correct the record, or drop it." in late.inner_text()
    assert Axe().run(cora).response["violations"] == []
    late.get_by_role("link", name="Correct record").press("Enter")
    assert "7 was typed by dee against this record" in cora.locator("#proposed").inner_text()
    assert cora.locator("#value_full_stops").input_value() == "7"
    assert cora.locator("#was_full_stops").inner_text() == "on record: 2"
    assert not cora.locator("dl.on-paper").is_visible()
    assert Axe().run(cora).response["violations"] == []
    cora.get_by_role("link", name="Its sheet, where it is dropped").press("Enter")
    late.get_by_role("button", name="Drop 7").press("Enter")
    cora.wait_for_selector(".late", state="detached")
    assert [state for _, typed, state in lines_kept(service, day) if typed.get("full_stops") == "7"] == [
        "replaced"
    ]


def test_an_issued_sheet_opens_and_fills_without_a_network_and_nothing_stays_after_signing_out(
    on_device, service, day
):
    page = open_sheet(on_device(), day)
    keys = Keys(page)
    keys.line(4)
    wait_until_sent(page)
    page.wait_for_function("() => location.search.startsWith('?sheet=')")
    wait_until(page, "async () => (await caches.match(location.href)) !== undefined")
    wait_until(page, "async () => (await (await caches.open('files of sheets')).keys()).length > 5")
    service.kill()
    page.reload()
    assert page.locator("h1").inner_text() == "Landings sheet"
    keys.line(3)
    wait_for_outbox(page, "1 not yet sent: no connection.")
    service.start()
    page.evaluate("() => window.dispatchEvent(new Event('online'))")
    wait_until_sent(page)
    assert len(lines_kept(service, day)) == 2
    page.get_by_role("button", name="Sign out").press("Enter")
    page.wait_for_url("**/sign-in")
    wait_until(page, "async () => !(await caches.keys()).some((name) => name.startsWith('sheets of '))")


def test_lines_of_another_person_wait_for_them(on_device, service, day):
    page = open_sheet(on_device("cle"), day)
    page.route("**/sheets/lines", lambda route: route.abort())
    Keys(page).line(4)
    wait_for_outbox(page, "1 not yet sent")
    page.context.clear_cookies()
    page.context.add_cookies([service.cookie("dee")])
    page.unroute("**/sheets/lines")
    open_sheet(page, day)
    wait_for_outbox(page, "1 of another person wait on this device")
    assert page.locator("[data-step]").first.input_value() == ""
    assert lines_kept(service, day) == []
    page.context.clear_cookies()
    page.context.add_cookies([service.cookie("cle")])
    open_sheet(page, day)
    wait_until_sent(page)
    assert len(lines_kept(service, day)) == 1


def test_a_sheet_weighs_at_most_90_kb_and_its_inputs_are_made_for_thumbs(on_device, day):
    page = on_device()
    weights = []
    page.on("response", lambda answer: weights.append(len(answer.body())))
    open_sheet(page, day)
    page.wait_for_load_state("networkidle")
    sys.stdout.write(f"\n{sum(weights) / 1000:.0f} kB, not compressed\n")
    assert sum(weights) <= 90_000
    heights = page.locator("form.entry input:not([type=hidden]), form.entry button:visible").evaluate_all(
        "(all) => all.map((each) => each.getBoundingClientRect().height)"
    )
    assert min(heights) >= 56
    page.set_viewport_size({"width": 820, "height": 1180})
    heads = page.locator("form.ask :is(input:not([type=radio]), select, button)")
    assert min(heads.evaluate_all("(all) => all.map((each) => each.getBoundingClientRect().height)")) >= 56
    page.set_viewport_size({"width": 320, "height": 800})
    assert page.evaluate("() => document.documentElement.scrollWidth") <= 320
    assert page.locator("table").evaluate("(table) => table.scrollWidth") <= 296


@pytest.mark.long
def test_saves_take_under_400_ms_and_echoes_under_100(on_device, service):
    page, times, echoes = on_device(), [], []
    for _ in range(40):
        open_sheet(page, next(DAYS).isoformat())
        page.evaluate(ECHO)
        keys = Keys(page)
        for count in TYPED:
            keys.line(count)
        wait_until_sent(page)
        echoes += page.evaluate("() => window.echoes")
        with page.expect_response(
            lambda answer: answer.request.method == "POST" and answer.url.endswith("/landings")
        ) as saved:
            page.locator("[data-post]").press("Enter")
        times.append(saved.value.request.timing["responseStart"])
        page.wait_for_selector(".saved")
    p95 = statistics.quantiles(times, n=20)[-1]
    echo = statistics.quantiles(echoes, n=20)[-1]
    sys.stdout.write(
        f"\nsave p95 {p95:.0f} ms over {len(times)} sheets, echo p95 {echo:.0f} ms over {len(echoes)}\n"
    )
    assert p95 < 400
    assert echo < 100
