"""Pages on which records are corrected and held readings ruled on, by forms alone."""

import datetime as dt
import json
import re

import pytest
from fastapi.testclient import TestClient

from api.app import make_app
from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.settings import Settings
from db.chain import Act
from db.entry.recorders import recorders
from db.imports.check import rows_from
from db.people import add_person
from db.session import Session, open_engine
from db.sessions import begin_session
from tests.api.shown_fleet import LAST, make_shown_fleet

ORIGIN = {"Origin": "http://testserver"}
TODAY = dt.datetime.now(dt.UTC).date()


@pytest.fixture(scope="module")
def clients(tmp_path_factory):
    """Ann and bob, who rule, and rea, who reads, with forms that carry their token; and the ledger's engine."""
    url = f"sqlite:///{tmp_path_factory.mktemp('corrected') / 'shown.db'}"
    make_shown_fleet(url)
    app, engine = make_app(Settings(db=url, secure_cookie=False)), open_engine(url)
    made, now = {}, dt.datetime.now(dt.UTC)
    for name, role in (("ann", "clerk"), ("bob", "clerk"), ("rea", "reader")):
        with Session(engine) as session, session.begin():
            add_person(session, name, role, now=now)
            secret = begin_session(session, name, by="password", now=now)
        made[name] = TestClient(app, cookies={PLAIN_COOKIE: secret}, headers=ORIGIN, follow_redirects=False)
        made[name].form = {"form_token": form_token_of(secret)}
    made["engine"] = engine
    yield made
    engine.dispose()


def form_on(page, **typed):
    """The fields of the page's own form, as a browser sends them, with what was typed over."""
    body = page.text[page.text.index('class="amend"') :]
    hidden = re.findall(r'<input type="(?:hidden|text)"[^>]*? name="([^"]+)" value="([^"]*)"', body)
    chosen = re.findall(
        r'<select id="[^"]+" name="([^"]+)".*?<option value="([^"]*)" selected', body, re.DOTALL
    )
    return {**dict(hidden), **dict(chosen), **typed}


@pytest.fixture
def number(clients):
    """The latest reading of a brake that is not due yet."""
    return latest_reading(clients["ann"], "S-3")


def latest_reading(client, serial):
    page = client.get("/brake", params={"serial": serial}).text
    return int(re.search(r'href="/corrections/(\d+)"', page)[1])


def test_a_correction_by_form_shows_what_it_moved(clients, number):
    ann, path = clients["ann"], f"/corrections/{number}"
    form = form_on(ann.get(path))
    pin = float(form["value_pin_1"])
    saved = ann.post(path, data={**form, "value_pin_1": f"{pin - 0.4:.1f}", "reason": "misread"})
    assert (saved.status_code, saved.headers["location"]) == (303, f"{path}#moved")
    again = ann.post(path, data={**form, "value_pin_1": f"{pin - 0.4:.1f}", "reason": "misread"})
    assert again.headers["location"] == saved.headers["location"], (
        "the same form sent twice is one correction"
    )
    shown = ann.get(path).text
    assert "Version 2, corrected by ann: misread." in shown
    assert f'href="{path}?moved=yes#moved">Show what moved</a>' in shown, (
        "no study is made before it is asked for"
    )
    assert "Middle forecasts (P50) before and after" in ann.get(path, params={"moved": "yes"}).text
    assert "Middle forecasts (P50) before and after" in ann.get(path).text, (
        "studies at hand are shown at once"
    )
    listed = ann.get("/corrections").text
    assert f"<s>{pin:.1f}</s> &rarr; <strong>{pin - 0.4:.1f}</strong>" in listed


def test_what_was_refused_comes_back_as_typed(clients, number):
    ann, path = clients["ann"], f"/corrections/{number}"
    form = form_on(ann.get(path), value_pin_1="3/4", reason="<b>why")
    answer = ann.post(path, data=form)
    assert answer.status_code == 422
    assert 'value="3/4"' in answer.text
    assert 'value="&lt;b&gt;why"' in answer.text
    assert 'id="error_pin_1"' in answer.text


def test_a_form_of_an_older_version_shows_the_one_that_stands(clients, number):
    ann, path = clients["ann"], f"/corrections/{number}"
    one, other = form_on(ann.get(path)), form_on(clients["bob"].get(path))
    assert clients["bob"].post(path, data={**other, "value_note": "by bob", "reason": "x"}).status_code == 303
    answer = ann.post(path, data={**one, "value_note": "by ann", "reason": "y"})
    assert answer.status_code == 412
    assert "corrected by bob" in answer.text
    assert "on record: by bob" in answer.text
    assert 'value="by ann"' in answer.text


def test_a_record_is_withdrawn_and_brought_back(clients, number):
    ann, path = clients["ann"], f"/corrections/{number}"
    for act, told in (("withdraw", "Withdrawn by ann: twice."), ("correct", "brought back")):
        saved = ann.post(path, data=form_on(ann.get(path), reason="twice", act=act))
        assert saved.status_code == 303, saved.text
        assert told in ann.get(path).text


def test_a_held_reading_at_its_limit_says_so_until_it_is_ruled_on(clients):
    day = LAST + dt.timedelta(days=1)
    row = {"serial": "S-4", "day": day, "pin_1": "1.0", "unit": "mm", "convention": "left"}
    with Session(clients["engine"]) as session, session.begin():
        frame = rows_from("pin_readings", [{name: str(value) for name, value in row.items()}], today=TODAY)
        assert recorders()["pin_readings"](session, Act("ann", "form", "enter"), frame).held == 1
    shown = clients["bob"].get("/held").text
    (said,) = re.findall(r'<p class="limit">([^<]*)</p>', shown)
    assert said.startswith("At or below the wear limit (manual of S-100, revision 2). Report now under your")
    action = re.search(r'action="(/held/\d+)"', shown)[1]
    form = {**clients["bob"].form, "write_key": "low", "state": "refused", "note": "read again: 29"}
    assert clients["bob"].post(action, data=form).status_code == 303
    assert 'class="limit"' not in clients["bob"].get("/held").text


def test_a_held_reading_is_ruled_on_by_another_person(clients):
    row = {"serial": "S-4", "day": TODAY, "pin_1": "29.9", "unit": "mm", "convention": "left"}
    with Session(clients["engine"]) as session, session.begin():
        frame = rows_from("pin_readings", [{name: str(value) for name, value in row.items()}], today=TODAY)
        assert recorders()["pin_readings"](session, Act("ann", "form", "enter"), frame).held == 1
    own = clients["ann"].get("/held").text
    assert "You entered this reading; another person rules on it." in own
    seen = clients["rea"].get("/held").text
    assert "A reader does not rule on readings; a clerk, a planner or an administrator does." in seen
    assert 'action="/held/' not in seen
    shown = clients["bob"].get("/held").text
    assert "does not rule" not in shown
    action = re.search(r'action="(/held/\d+)"', shown)[1]
    key = re.search(r'name="write_key" value="([^"]+)"', shown[shown.index(action) :])[1]
    form = {"write_key": key, "state": "refused", "note": "seen by two"}
    refused = clients["ann"].post(action, data={**form, **clients["ann"].form, "write_key": "another"})
    assert (refused.status_code, "was entered by ann" in refused.text) == (422, True)
    silent = clients["bob"].post(
        action, data={**form, **clients["bob"].form, "note": " ", "write_key": "other"}
    )
    assert (silent.status_code >= 400, "say why, in a few words" in silent.text) == (True, True)
    for _ in range(2):
        assert clients["bob"].post(action, data={**form, **clients["bob"].form}).status_code == 303
    assert "No reading waits for a second person." in clients["bob"].get("/held").text


def late_line(client, landings):
    """A line typed against a day on record, by which it was told where to correct it."""
    typed = json.dumps({"full_stops": landings, "touch_and_gos": ""})
    sent = {"base": "Home", "day": str(LAST), "asks": "count", "place": "ZZ-A", "typed": typed}
    answer = client.post(
        "/sheets/lines", data={**client.form, **sent, "key": "late-1", "write_key": "late-1"}
    )
    return answer.json()["late"]


def test_the_form_opened_from_a_line_that_waits_is_filled_in_with_it(clients):
    ann, late = clients["ann"], late_line(clients["bob"], "7")
    path = f"/corrections/{late['record']}"
    assert late["correct_at"] == f"{path}?line=late-1"
    shown = ann.get(late["correct_at"])
    assert "7 was typed by bob against this record (Home, " in shown.text
    assert re.search(r'name="value_full_stops" value="7"[^>]* aria-describedby="was_full_stops"', shown.text)
    assert re.findall(r"<small[^>]*>on record: [^<]*</small>", shown.text) == [
        '<small id="was_full_stops">on record: 4</small>'
    ]
    assert form_on(ann.get(path))["value_full_stops"] == "4", "the link changes nothing"
    refused = ann.post(path, data=form_on(shown, act="correct", reason=""))
    assert refused.status_code == 422
    assert "7 was typed by bob against this record" in refused.text
    assert form_on(refused)["value_full_stops"] == "7"
    assert ann.post(path, data=form_on(refused, act="correct", reason="on paper")).status_code == 303
    assert "The line that was typed waits no longer" in ann.get(late["correct_at"]).text
    plain = ann.get(path)
    assert form_on(plain)["value_full_stops"] == "7"
    assert "waits" not in plain.text
