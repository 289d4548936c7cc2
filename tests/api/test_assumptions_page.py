"""Assumptions and limits: listed with source and age, proposed by form, their effect shown, approved by another."""

import datetime as dt
import re

import pytest
from fastapi.testclient import TestClient

from api.app import make_app
from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.pages.assumptions import used_on
from api.settings import Settings
from db.people import add_person
from db.session import Session, open_engine
from db.sessions import begin_session
from lifecycle.assumptions import UNITS
from tests.api.shown_fleet import ASSUMED, make_shown_fleet

ORIGIN = {"Origin": "http://testserver"}


@pytest.fixture(scope="module")
def clients(tmp_path_factory):
    """Two planners and a clerk."""
    url = f"sqlite:///{tmp_path_factory.mktemp('given') / 'shown.db'}"
    make_shown_fleet(url)
    app, engine = make_app(Settings(db=url, secure_cookie=False)), open_engine(url)
    made, now = {}, dt.datetime.now(dt.UTC)
    for name, role in (("pia", "planner"), ("pol", "planner"), ("cle", "clerk")):
        with Session(engine) as session, session.begin():
            add_person(session, name, role, now=now)
            secret = begin_session(session, name, by="password", now=now)
        made[name] = TestClient(app, cookies={PLAIN_COOKIE: secret}, headers=ORIGIN, follow_redirects=False)
        made[name].form = {"form_token": form_token_of(secret)}
    yield made
    engine.dispose()


def hidden(page):
    return dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page))


def propose(client, what="values", **typed):
    page = client.get("/assumptions").text
    key = re.search(r'name="write_key" value="([^"]+)"', page)[1]
    return client.post(f"/assumptions/{what}", data={**client.form, "write_key": key, **typed})


def record_of(page, words):
    """The record that the row with these words links to."""
    row = next(row for row in page.split("<tr>") if words in row)
    return int(re.search(r'href="/assumptions/(\d+)"', row)[1])


def approve(client, number):
    page = client.get(f"/assumptions/{number}").text
    return client.post(f"/assumptions/{number}/approval", data={**client.form, **hidden(page)})


def test_everything_taken_as_given_is_listed_with_its_source_and_where_it_is_used(clients):
    page = clients["cle"].get("/assumptions").text
    assert (
        f"{len(ASSUMED)}\N{NO-BREAK SPACE}values and 2\N{NO-BREAK SPACE}wear limits are taken as given"
        in page
    )
    assert "manual of S-100, revision 2" in page
    assert "Cost per landing, Retrofit brief" in page
    assert "Propose" not in page, "a clerk does not propose"
    table = clients["cle"].get("/assumptions", params={"format": "csv"}).text
    assert table.splitlines()[0].startswith(
        "record,name,aircraft_type,brake_type,base,value,unit,low,high,source"
    )
    assert len(table.splitlines()) == len(ASSUMED) + 1


def test_a_proposal_counts_once_another_person_has_seen_what_follows_and_approved_it(clients):
    pia, pol, cle = clients["pia"], clients["pol"], clients["cle"]
    row = {
        "name": "overhaul_cost",
        "value": "24000",
        "unit": "EUR",
        "source": "offer 12",
        "dated": "2026-05-02",
    }
    assert propose(pia, **row).status_code == 303
    page = pia.get("/assumptions").text
    assert "1\N{NO-BREAK SPACE}waits for a second person" in page
    number = record_of(page, "offer 12")
    mine = pia.get(f"/assumptions/{number}").text
    assert "another person approves it" in mine
    assert "Approve it as it stands" not in mine
    assert "a planner or an administrator does" in cle.get(f"/assumptions/{number}").text
    seen = pol.get(f"/assumptions/{number}").text
    assert "Cost per landing of S-100" in seen
    assert "Net present value of" in seen
    before = pol.get("/api/v1/cost").json()["types"]
    told, shown = (
        float(each)
        for each in re.findall(r"&asymp;&#8239;([0-9.]+)<", seen.partition("Cost per landing of S-100")[2])[
            :2
        ]
    )
    was = next(each for each in before if each["brake_type"] == "S-100")
    tenth = (was["high"] - was["low"]) / 10
    assert told == pytest.approx(was["cost_per_landing"], abs=tenth), "no finer than a tenth of its range"
    assert approve(pol, number).status_code == 303
    after = pol.get("/api/v1/cost").json()["types"]
    now = next(each["cost_per_landing"] for each in after if each["brake_type"] == "S-100")
    assert shown == pytest.approx(now, abs=tenth), "what was shown before approval is what came"
    assert now > was["cost_per_landing"]
    listed = pol.get("/assumptions").text
    assert "nothing waits" in listed
    assert "Values replaced by later ones (1)" in listed


def test_nobody_approves_their_own_even_by_sending_the_form(clients):
    pia = clients["pia"]
    row = {"name": "delay_cost", "value": "900", "unit": "EUR", "source": "letter 3", "dated": "2026-05-02"}
    propose(pia, **row)
    number = record_of(pia.get("/assumptions").text, "letter 3")
    tag = f"{number}-1"
    sent = pia.post(f"/assumptions/{number}/approval", data={**pia.form, "write_key": "k1", "version": tag})
    assert sent.status_code == 422
    assert "who cannot approve it" in sent.text
    assert approve(clients["cle"], number).status_code == 403
    stale = clients["pol"].post(
        f"/assumptions/{number}/approval",
        data={**clients["pol"].form, "write_key": "k2", "version": f"{number}-9"},
    )
    assert stale.status_code == 412


def test_source_and_date_are_required_and_what_was_typed_stays(clients):
    sent = propose(clients["pia"], name="delay_cost", value="9,5", unit="EUR")
    assert sent.status_code == 422
    for words in ("Nothing was kept", 'value="9,5"', "has a decimal comma", 'href="#assumptions_dated"'):
        assert words in sent.text
    assert "letter 9" not in clients["pia"].get("/assumptions").text


def test_a_planner_corrects_a_proposal_and_no_record_of_the_clerks(clients):
    pia = clients["pia"]
    row = {"name": "kit_hours", "value": "200", "unit": "h", "source": "offer 13", "dated": "2026-05-02"}
    propose(pia, **row)
    number = record_of(pia.get("/assumptions").text, "offer 13")
    sent = {**pia.form, "write_key": "k3", "version": f"{number}-1", "value_value": "20", "reason": "slip"}
    assert pia.post(f"/corrections/{number}", data=sent).status_code == 303
    row = next(row for row in pia.get("/assumptions").text.split("<tr>") if "offer 13" in row)
    assert ">(20)<" in row
    page = pia.get("/brake", params={"serial": "S-3"}).text
    reading = int(re.search(r'href="/corrections/(\d+)', page)[1])
    sent = {**pia.form, "write_key": "k4", "version": f"{reading}-1", "value_pin_1": "9", "reason": "slip"}
    assert pia.post(f"/corrections/{reading}", data=sent).status_code == 403


def test_a_day_may_be_typed_short(clients):
    row = {"name": "labour_rate", "value": "81", "unit": "EUR/h", "source": "tariff 8", "dated": "1 feb 2026"}
    assert propose(clients["pia"], **row).status_code == 303
    page = clients["pia"].get("/assumptions").text
    assert "2026-02-01" in next(row for row in page.split("<tr>") if "tariff 8" in row)


def test_a_looser_limit_waits_and_shows_which_forecasts_it_would_move(clients):
    row = {"brake_type": "S-100", "limit": "3", "effective_on": "2026-01-01", "source": "manual, revision 3"}
    assert propose(clients["pia"], "limits", **row).status_code == 303
    number = record_of(clients["pol"].get("/assumptions").text, "revision 3")
    seen = clients["pol"].get(f"/assumptions/{number}").text
    assert "would move" in seen
    assert "S-3" in seen
    assert approve(clients["pol"], number).status_code == 303
    assert "In force; approved by pol." in clients["pol"].get(f"/assumptions/{number}").text


def test_a_record_of_another_kind_is_not_found_here(clients):
    page = clients["cle"].get("/brake", params={"serial": "S-3"}).text
    reading = int(re.search(r'href="/corrections/(\d+)"', page)[1])
    assert clients["pol"].get(f"/assumptions/{reading}").status_code == 404
    assert clients["pol"].get("/assumptions/999999").status_code == 404


@pytest.mark.parametrize("name", UNITS)
def test_every_known_name_is_used_on_some_page(name):
    assert used_on(name) != "no figure"


def test_a_name_of_ones_own_is_used_on_none():
    assert used_on("paint") == "no figure"
