"""Today: each count leads to where it is done, by role; Entry quality: a second typing is compared and kept."""

import datetime as dt
import json
import re

import pytest

from api.pages.today import answer
from api.waiting import Item
from db.chain import append
from db.entry.landings import record_landings
from db.entry_quality import drawn
from db.lookup import base_ids
from db.people import add_person
from db.records.fleet import Aircraft, AircraftType, BaseStation
from db.records.sheets import Sheet
from db.secrets_kept import time_text
from db.session import Session
from db.sheet_code import SYMBOLS, with_check
from tests.api.entrance import browser, link_for, make_entrance, now, token_on
from tests.api.test_landings_page import form_on, input_of, on_record
from tests.ledger import ACT, TODAY, rows

YESTERDAY = TODAY - dt.timedelta(days=1)
CRAFT = ("ZZ-001", "ZZ-002", "ZZ-003")


@pytest.fixture
def app(sqlite_url):
    """Three aircraft at Home, reported for the day before yesterday; two clerks and one of another base."""
    app = make_entrance(sqlite_url)
    with Session(app.state.engine) as session, session.begin():
        home, _ = append(session, ACT, [(BaseStation, [{"base": "Home"}, {"base": "Away"}])]).records[0]
        kind = {"aircraft_type": "twin", "positions": "1;2"}
        twin = append(session, ACT, [(AircraftType, [kind])]).records[0][0]
        craft = [{"registration": name, "aircraft_type": twin, "base": home} for name in CRAFT]
        append(session, ACT, [(Aircraft, craft)])
        day = YESTERDAY - dt.timedelta(days=1)
        told = [{"registration": name, "day": day, "full_stops": 1} for name in CRAFT]
        record_landings(session, ACT, rows("landings", *told))
        add_person(session, "dee", "clerk", now=now())
        add_person(session, "eve", "clerk", now=now(), bases=("Away",))
        add_person(session, "pam", "planner", now=now())
    return app


def client_of(app, name):
    made = browser(app)
    made.get(link_for(app, name))
    return made


def tasks(answer):
    """Each thing that waits, and where it leads."""
    found = re.findall(r'<th scope="row"><a href="([^"]+)">([^<]+)</a></th><td>([^<]*)</td>', answer.text)
    return {
        told.replace("\N{NO-BREAK SPACE}", " "): (
            link.replace("&amp;", "&"),
            more.replace("\N{NO-BREAK SPACE}", " "),
        )
        for link, told, more in found
    }


def posted(client, *counts):
    page = client.get("/landings", params={"base": "Home", "day": str(YESTERDAY)})
    form = form_on(page) | {
        input_of(page, name): str(count) for name, count in zip(CRAFT, counts, strict=False)
    }
    saved = client.post("/landings", data=form)
    assert saved.status_code == 303, saved.text
    return re.search(r"sheet=(\w+)", saved.headers["location"])[1]


def test_a_clerk_sees_which_days_are_missing_and_goes_there(app):
    cle = client_of(app, "cle")
    shown = cle.get("/")
    link, more = tasks(shown)["1 day not fully reported at Home"]
    assert more.endswith("3 of 3 aircraft")
    assert "3 of 3 aircraft of Home are not reported" in cle.get(link).text
    posted(cle, 1, 2, 3)
    assert "Nothing waits for you." in cle.get("/").text


def test_a_clerk_of_another_base_is_told_nothing_of_it(app):
    eve = client_of(app, "eve")
    shown = eve.get("/", follow_redirects=True)
    assert "Nothing waits for you." in shown.text
    assert "Home" not in shown.text


def test_a_sheet_begun_says_at_which_row_to_go_on(app):
    cle = client_of(app, "cle")
    token = token_on(cle.get("/account"))
    sent = {"base": "Home", "day": str(YESTERDAY), "asks": "count", "seen": "", "form_token": token}
    for place, landings, key in (("ZZ-001", 1, "a"), ("ZZ-002", 2, "b"), ("ZZ-001", 5, "c")):
        line = {"place": place, "typed": f'{{"full_stops": "{landings}"}}', "key": key, "write_key": key}
        assert cle.post("/sheets/lines", data={**sent, **line}).status_code == 200
    found = tasks(cle.get("/"))
    assert found["1 landings sheet begun"][1].endswith("resume at row 3")
    assert found["1 sheet on which two devices differ"][1].endswith("look at both values")
    assert "Two devices differ" in cle.get(found["1 sheet on which two devices differ"][0]).text


def test_two_sheets_begun_are_told_as_one_kind_of_work():
    begun = [
        Item(1, "landings sheet begun", "landings sheets begun", "/landings", day)
        for day in ("3 Nov", "4 Nov")
    ]
    held = Item(1, "held reading", "held readings", "/held")
    assert answer((*begun, held)) == "Waiting: 2\u00a0landings sheets begun and 1\u00a0held reading."


def test_a_clerk_s_page_opens_no_study(app):
    """There is nothing here that a study could be made of: who needs one is refused, who does not is not."""
    assert client_of(app, "pam").get("/").status_code == 409
    assert client_of(app, "cle").get("/").status_code == 200
    assert "For the records office" in client_of(app, "ann").get("/").text


def test_a_planner_and_an_administrator_see_what_comes_due(shown_client, client_of):
    for client, office in ((client_of("pam", "planner"), 0), (shown_client, 1)):
        shown = client.get("/")
        assert (
            "brakes at or below the limit now" in shown.text.replace("\N{NO-BREAK SPACE}", " ")
            or "brake at" in shown.text
        )
        assert shown.text.count('id="office"') == office
        assert all(link.startswith("/") for link, _ in tasks(shown).values())


def test_a_reader_is_led_to_the_decisions(client_of):
    shown = client_of("rea", "reader").get("/").text
    assert "For the decision" in shown
    assert 'href="/retrofit"' in shown


@pytest.fixture
def drawn_sheet(app):
    """The sheet of yesterday has a code that the draw takes."""
    codes = (with_check("22" + a + b) for a in SYMBOLS for b in SYMBOLS)
    code = next(each for each in codes if drawn(each))
    with Session(app.state.engine) as session, session.begin():
        home = base_ids(session)["Home"]
        asks = json.dumps({"asks": "count", "lines": []})
        made = {"kind": "landings", "base": home, "day": YESTERDAY, "asks": asks}
        session.add(Sheet(code=code, **made, issued_by="cle", issued_at=time_text(now())))
    return code


def second(client, code, *counts, page=None):
    page = page or client.get(f"/entry-quality/{code}")
    names = re.findall(r'name="(full_stops-\d+)"', page.text)
    form = form_on(page) | dict(zip(names, map(str, counts), strict=False))
    return client.post(f"/entry-quality/{code}", data=form)


def test_a_second_typing_by_another_person_shows_what_differs_and_changes_nothing(app, drawn_sheet):
    cle, dee = client_of(app, "cle"), client_of(app, "dee")
    code = posted(cle, 1, 2, 3)
    assert tasks(cle.get("/")) == {}, "whoever typed it first does not type it again"
    assert tasks(dee.get("/"))["1 sheet to type a second time"][0] == "/entry-quality"
    asked = dee.get(f"/entry-quality/{code}").text
    assert "The first typing is not shown." in asked
    assert not re.search(r'name="full_stops-\d+" value="\d', asked)
    empty = dee.get(f"/entry-quality/{code}")
    assert second(dee, code, 1, 7, "03").status_code == 303
    told = re.sub(r"<[^>]+>", " ", dee.get(f"/entry-quality/{code}").text)
    assert re.search(r"ZZ-002\s+landings\s+2\s+7\s+record \d+", told)
    assert not re.search(r"ZZ-003\s+landings", told)
    assert [each[0] for each in on_record(app, str(YESTERDAY))] == [1, 2, 3]
    rates = re.sub(r"<[^>]+>", " ", dee.get("/entry-quality").text)
    assert re.search(r"Places that a second typing found different\s+1\s+3\s+33.3", rates)
    ann = client_of(app, "ann")
    assert "typed a second time already" in second(ann, code, 1, 2, 3, page=with_token(empty, ann)).text


class WithToken:
    """A page as another session would have seen it."""

    def __init__(self, text):
        self.text = text


def with_token(page, client):
    token = token_on(client.get("/account"))
    return WithToken(
        re.sub(r'name="form_token" value="\w+"', f'name="form_token" value="{token}"', page.text)
    )


def test_the_same_person_does_not_check_themselves(app, drawn_sheet):
    cle = client_of(app, "cle")
    code = posted(cle, 1, 2, 3)
    own = cle.get(f"/entry-quality/{code}").text
    assert "you typed it first; another person types it a second time" in own
    assert 'name="full_stops-' not in own
    empty = client_of(app, "dee").get(f"/entry-quality/{code}")
    answer = second(cle, code, 1, 2, 3, page=with_token(empty, cle))
    assert answer.status_code == 409
    assert "another person types it a second time" in answer.text


def test_a_sheet_of_another_base_is_not_there_to_be_checked(app, drawn_sheet):
    code = posted(client_of(app, "cle"), 1, 2, 3)
    assert client_of(app, "eve").get(f"/entry-quality/{code}").status_code == 404


def test_corrections_count_against_what_was_typed(app):
    cle = client_of(app, "cle")
    code = posted(cle, 1, 2, 3)
    number = re.search(r'href="/corrections/(\d+)"', cle.get(f"/landings?sheet={code}").text)[1]
    page = cle.get(f"/corrections/{number}")
    hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page.text))
    told = {"value_full_stops": "4", "reason": "misread"}
    assert cle.post(f"/corrections/{number}", data={**hidden, **told}).status_code == 303
    shown = cle.get("/entry-quality").text.replace("\N{NO-BREAK SPACE}", " ")
    assert re.search(r"3 records typed in since [^;]+; 1 of them corrected or withdrawn, 33.3", shown)
