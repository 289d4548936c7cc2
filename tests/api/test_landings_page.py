"""The Landings sheet by forms alone: what is typed is posted whole or not at all, and comes back where refused."""

import datetime as dt
import html
import json
import re
from dataclasses import replace

import pytest
from sqlalchemy import func, select

from db.chain import append
from db.entry.corrections import withdraw
from db.entry.landings import record_landings
from db.lookup import current
from db.people import add_person
from db.recorded import read_record
from db.records.fleet import Aircraft, AircraftType, BaseStation
from db.records.readings import Landing
from db.session import Session
from db.sheets import landings_sheet, lines_of
from tests.api.entrance import browser, link_for, make_entrance, now
from tests.ledger import ACT, rows

DAY = dt.date(2026, 3, 14)
PLACE = {"base": "Home", "day": "2026-03-14"}
BEFORE = {"ZZ-001": 1000, "ZZ-002": 2000, "ZZ-003": 3000, "ZZ-004": 4000}


@pytest.fixture(scope="module")
def app(sqlite_copies):
    """Four aircraft at Home, one at Away, each with its running total of the day before."""
    with sqlite_copies("landings_page") as url:
        app = make_entrance(url)
        with Session(app.state.engine) as session, session.begin():
            bases = append(session, ACT, [(BaseStation, [{"base": "Home"}, {"base": "Away"}])])
            home, away = bases.records[0]
            kind = {"aircraft_type": "twin", "positions": "1;2;3;4"}
            twin = append(session, ACT, [(AircraftType, [kind])]).records[0][0]
            craft = [{"registration": name, "aircraft_type": twin, "base": home} for name in BEFORE]
            craft += [{"registration": "ZZ-900", "aircraft_type": twin, "base": away}]
            append(session, ACT, [(Aircraft, craft)])
            told = [
                {"registration": name, "day": "2026-03-13", "full_stops": "", "total_landings": total}
                for name, total in BEFORE.items()
            ]
            record_landings(session, ACT, rows("landings", *told))
            add_person(session, "eve", "clerk", now=now(), bases=("Away",))
        yield app


@pytest.fixture(scope="module")
def client(app):
    made = browser(app)
    made.get(link_for(app, "cle"))
    return made


DAYS = iter(range(1, 29))


@pytest.fixture
def place():
    """A day of its own for each test, of a month after the totals before."""
    return {"base": "Home", "day": f"2026-04-{next(DAYS):02d}"}


def form_on(answer):
    """The fields of the sheet's form as a browser without scripts would send them."""
    body = answer.text[answer.text.index('<form class="entry"') :]
    tags = re.findall(r"<input ([^>]*)>", body)
    read = [(re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag), tag) for tag in tags]
    return {
        name[1]: html.unescape(value[1] if value else "")
        for name, value, tag in read
        if "checkbox" not in tag
    }


def input_of(answer, registration, field="full_stops"):
    row = answer.text[answer.text.index(f'data-line="{registration}"') :]
    return re.search(rf'id="({field}-\d+)"', row)[1]


def typed_in(client, place, asks="count", field=None, more=None, **by_registration):
    page = client.get("/landings", params={**place, "asks": asks})
    field = field or ("full_stops" if asks == "count" else "total_landings")
    names = {name.replace("_", "-"): text for name, text in by_registration.items()}
    return {
        **form_on(page),
        **{input_of(page, name, field): text for name, text in names.items()},
        **(more or {}),
    }


def on_record(app, day):
    with Session(app.state.engine) as session:
        found = session.execute(current(Landing).where(Landing.day == dt.date.fromisoformat(day)))
        return [(row.full_stops, row.total_landings) for row in found]


def refused(answer):
    assert answer.status_code == 422
    assert "Nothing was posted" in answer.text
    return html.unescape(" ".join(re.findall(r"<li><a href=\"#[\w-]+\">(.*?)</a></li>", answer.text)))


def test_the_sheet_asks_for_each_aircraft_of_the_base(client, place):
    shown = client.get("/landings", params=place)
    assert re.findall(r'data-line="([^"]+)"', shown.text) == list(BEFORE)
    assert "4 of 4 aircraft of Home are not reported" in shown.text


@pytest.mark.parametrize(("typed", "meant"), [("14 mar 2026", "2026-03-14"), ("2026-03-14", "2026-03-14")])
def test_the_day_is_typed_short(client, typed, meant):
    shown = client.get("/landings", params={"base": "Home", "day": typed})
    assert f'name="day" value="{meant}" data-with' in shown.text


@pytest.mark.parametrize("typed", ["3/4", "31 feb", "2099-01-01"])
def test_a_day_that_is_none_comes_back_as_typed_with_what_to_write(client, typed):
    shown = client.get("/landings", params={"base": "Home", "day": typed})
    assert shown.status_code == 422
    assert f'value="{typed}"' in shown.text
    assert 'aria-describedby="error-day"' in shown.text


def test_a_sheet_is_posted_whole_and_blank_is_not_reported(app, client, place):
    form = typed_in(client, place, ZZ_001="4", ZZ_002="0", ZZ_003="2", more={"sheet_total": "6"})
    saved = client.post("/landings", data=form)
    assert saved.status_code == 303
    assert sorted(on_record(app, place["day"])) == [(0, None), (2, None), (4, None)]
    shown = client.get(saved.headers["location"]).text
    assert "1 of 4 aircraft of Home is not reported" in shown
    assert re.findall(r'data-line="([^"]+)"', shown) == ["ZZ-004"]
    assert "Posted as sheet" in shown


def test_the_same_post_sent_ten_times_is_one(app, client, place):
    form = typed_in(client, place, ZZ_001="4")
    answers = {client.post("/landings", data=form).headers["location"] for _ in range(10)}
    assert len(answers) == 1
    assert on_record(app, place["day"]) == [(4, None)]
    with Session(app.state.engine) as session:
        sheet = landings_sheet(session, "Home", dt.date.fromisoformat(place["day"]))
        assert len(lines_of(session, sheet.code, replaced=True)) == 1


def test_a_wrong_sheet_total_refuses_all_of_it_and_keeps_what_was_typed(app, client, place):
    form = typed_in(client, place, ZZ_001="4", ZZ_002="5", more={"sheet_total": "10"})
    answer = client.post("/landings", data=form)
    assert refused(answer) == "10: the lines add up to 9; look for the line that is wrong or blank."
    assert answer.text.count("the lines add up to 9") == 2, "in the summary and beside the field"
    kept = form_on(answer)
    assert {name: kept[name] for name in form if name.startswith("full_stops")} == {
        name: text for name, text in form.items() if name.startswith("full_stops")
    }
    assert on_record(app, place["day"]) == []
    assert 'role="alert" tabindex="-1" autofocus' in answer.text


@pytest.mark.parametrize("typed", ["4x", "3.0", "3,0", "-1", "1 2", "\N{ARABIC-INDIC DIGIT THREE}"])
def test_what_is_no_count_is_refused_beside_its_field_whatever_the_total_says(app, client, place, typed):
    for total in ("", "1", "4"):
        form = typed_in(client, place, ZZ_001=typed, ZZ_002="1", more={"sheet_total": total})
        answer = client.post("/landings", data=form)
        told = f"ZZ-001: {typed}: is no whole number; write the whole number that was counted."
        assert refused(answer).count("ZZ-001") == refused(answer).count(told) == 1
        assert f'aria-describedby="error-{input_of(answer, "ZZ-001")}"' in answer.text
    assert on_record(app, place["day"]) == []


def test_a_line_withdrawn_before_is_refused_beside_its_field(app, client, place):
    client.post("/landings", data=typed_in(client, place, ZZ_001="4"))
    with Session(app.state.engine) as session, session.begin():
        of_day = Landing.day == dt.date.fromisoformat(place["day"])
        (row,) = session.execute(current(Landing).where(of_day)).all()
        withdraw(session, replace(ACT, reason="a slip"), row.fact, version=read_record(session, row.fact).tag)
    answer = client.post("/landings", data=typed_in(client, place, ZZ_001="4", ZZ_002="1"))
    assert f"was entered before as record {row.fact} and withdrawn" in refused(answer)
    assert f'aria-describedby="error-{input_of(answer, "ZZ-001")}"' in answer.text


def test_touch_and_gos_without_landings_are_asked_about(app, client, place):
    form = typed_in(client, place, field="touch_and_gos", ZZ_001="3")
    assert "write 0 if it did not land" in refused(client.post("/landings", data=form))
    assert on_record(app, place["day"]) == []


def test_more_than_can_be_flown_is_asked_about_and_taken_when_looked_at_again(app, client, place):
    form = typed_in(client, place, ZZ_001="44")
    answer = client.post("/landings", data=form)
    assert "ZZ-001: 44 landings are more than 12 a day" in refused(answer)
    assert 'name="sure"' in answer.text
    assert client.post("/landings", data={**form_on(answer), **form, "sure": "yes"}).status_code == 303
    assert on_record(app, place["day"]) == [(44, None)]


def test_running_totals_are_recorded_as_totals(app, client, sqlite_copies):
    place = {"base": "Home", "day": "2026-03-14"}
    form = typed_in(client, place, "total", ZZ_001="1004", ZZ_002="2003", more={"sheet_total": "7"})
    assert client.post("/landings", data=form).status_code == 303
    assert sorted(on_record(app, "2026-03-14")) == [(None, 1004), (None, 2003)]


def test_swapped_running_totals_are_caught(app, client):
    """Both totals fit the other aircraft: neither a falling total nor the sheet's sum alone says which."""
    place = {"base": "Home", "day": "2026-03-15"}
    form = typed_in(client, place, "total", ZZ_003="4003", ZZ_004="3002")
    told = refused(client.post("/landings", data=form))
    assert "ZZ-003: 4003: looks swapped with ZZ-004" in told
    assert "ZZ-004: 3002: looks swapped with ZZ-003" in told
    assert "ZZ-004: 3002: a running total never falls" in told
    assert on_record(app, "2026-03-15") == []


def test_a_total_that_does_not_match_the_days_written_down_is_asked_about(app, client):
    first = {"base": "Home", "day": "2026-03-16"}
    assert client.post("/landings", data=typed_in(client, first, ZZ_004="3")).status_code == 303
    second = {"base": "Home", "day": "2026-03-17"}
    assert client.post("/landings", data=typed_in(client, second, ZZ_004="2")).status_code == 303
    third = {"base": "Home", "day": "2026-03-18"}
    form = typed_in(client, third, "total", ZZ_004="4003")
    answer = client.post("/landings", data=form)
    assert "it was 4005 the day before" in refused(answer)
    assert client.post("/landings", data={**form_on(answer), **form, "sure": "yes"}).status_code == 303


def test_a_whole_day_is_told_in_what_was_given_and_leads_to_the_next_one_not_reported(client, place):
    typed = {name.replace("-", "_"): str(total + 10_000) for name, total in BEFORE.items()}
    form = typed_in(client, place, "total", **typed, more={"sure": "yes"})
    shown = client.get(client.post("/landings", data=form).headers["location"]).text
    assert "4\N{NO-BREAK SPACE}running totals written down." in shown
    assert re.search(r'day=[0-9-]+&amp;asks=total" class="no-print" autofocus>Next to report', shown)


def test_a_base_that_is_not_known_is_told(client):
    answer = client.get("/landings?base=NOWHERE")
    assert answer.status_code == 404
    assert "choose one of Away and Home" in answer.text


def test_a_rejected_take_off_leads_on_to_its_event(client, place):
    form = typed_in(client, place, ZZ_001="2")
    form[next(name for name in form if name.startswith("rejected"))] = "1"
    shown = client.get(client.post("/landings", data=form).headers["location"]).text
    assert f'href="/events?registration=ZZ-001&amp;day={place["day"]}"' in shown


def test_lines_are_matched_by_registration_when_pasted(app, client, place):
    form = typed_in(client, place, ZZ_001="1", more={"act": "paste"})
    form["pasted"] = "zz-003\t5\t1\nZZ-900\t2\nZZ-777\t9\nZZ-002\t0\nZZ-004\t1\nZZ-004\t2"
    answer = client.post("/landings", data=form)
    assert answer.status_code == 200
    kept = form_on(answer)
    told = [kept[input_of(answer, name)] for name in BEFORE]
    assert told == ["1", "0", "5", ""]
    assert kept[input_of(answer, "ZZ-003", "touch_and_gos")] == "1"
    assert "Not at this base on the day: ZZ-900." in answer.text
    assert "No aircraft is called ZZ-777." in answer.text
    assert "Came twice, not filled in: ZZ-004." in answer.text
    assert on_record(app, place["day"]) == []


def line(client, **fields):
    sent = {"base": "Home", "day": "2026-05-01", "asks": "count", "place": "ZZ-001", "seen": "", **fields}
    key = sent.setdefault("key", "k1")
    token = form_on(client.get("/landings", params=PLACE))["form_token"]
    typed = sent.pop("typed", None) or json.dumps({"full_stops": sent.pop("landings", "4")})
    return client.post(
        "/sheets/lines", data={**sent, "typed": typed, "write_key": key}, headers={"X-Form-Token": token}
    )


def test_a_line_sent_ten_times_is_kept_once(app, client):
    for _ in range(10):
        assert [each["state"] for each in line(client).json()["lines"]] == ["standing"]
    shown = client.get("/landings", params={"base": "Home", "day": "2026-05-01"}).text
    assert 'value="4" data-field="full_stops" data-kept="4"' in shown
    assert "Resume at row 2, ZZ-002." in shown


def test_two_devices_that_differ_are_shown_and_not_posted(app, client):
    day = {"day": "2026-05-02"}
    line(client, key="a1", **day)
    answer = line(client, key="b1", landings="5", **day).json()
    assert [each["state"] for each in answer["lines"]] == ["standing", "conflict"]
    shown = client.get("/landings", params={"base": "Home", **day})
    assert "Two devices differ: 4 by cle; 5 by cle. Type the right one here." in shown.text
    form = form_on(shown)
    blank = client.post("/landings", data={**form, input_of(shown, "ZZ-002"): "1"})
    assert blank.status_code == 409
    assert "two devices differ in ZZ-001" in blank.text.replace("Two", "two")
    assert on_record(app, "2026-05-02") == []
    settled = client.post("/landings", data={**form, input_of(shown, "ZZ-001"): "5"})
    assert settled.status_code == 303
    assert on_record(app, "2026-05-02") == [(5, None)]


@pytest.mark.parametrize(
    ("fields", "status"),
    [
        ({"typed": "[]"}, 422),
        ({"typed": "x"}, 422),
        ({"day": "3/4"}, 409),
        ({"key": "a b", "write_key": "x"}, 409),
        ({"sheet": "22222"}, 404),
    ],
)
def test_a_line_that_cannot_be_kept_says_why(client, fields, status):
    assert line(client, **{"key": "z9", **fields}).status_code == status


def test_a_clerk_of_another_base_sees_and_sends_nothing_of_this_one(app):
    eve = browser(app)
    eve.get(link_for(app, "eve"))
    assert eve.get("/landings", params=PLACE).status_code == 404
    shown = eve.get("/landings")
    assert "ZZ-900" in shown.text
    assert "ZZ-001" not in shown.text
    form = {**form_on(shown), **PLACE}
    assert eve.post("/landings", data=form).status_code == 404
    sent = {"place": "ZZ-001", "typed": "{}", "key": "e1", "write_key": "e1"}
    sent["form_token"] = form["form_token"]
    assert eve.post("/sheets/lines", data={**sent, **PLACE, "asks": "count"}).status_code == 404


def test_a_code_of_another_base_s_sheet_brings_up_nothing(app, client):
    assert line(client, key="c1", day="2026-05-09").status_code == 200
    with Session(app.state.engine) as session:
        code = landings_sheet(session, "Home", dt.date(2026, 5, 9)).code
    eve = browser(app)
    eve.get(link_for(app, "eve"))
    assert client.get("/landings", params={"sheet": code}).status_code == 200
    assert eve.get("/landings", params={"sheet": code}).status_code == 404
    token = form_on(eve.get("/landings"))["form_token"]
    sent = {"sheet": code, "place": "ZZ-001", "typed": "{}", "seen": "", "key": "c2", "write_key": "c2"}
    assert eve.post("/sheets/lines", data={**sent, "form_token": token}).status_code == 404


def test_no_landing_is_on_record_twice(app):
    with Session(app.state.engine) as session:
        every = session.scalar(select(func.count(Landing.id)).where(Landing.version == 1))
        keys = session.scalar(
            select(func.count()).select_from(select(Landing.aircraft, Landing.day).distinct().subquery())
        )
    assert every == keys


def drop_form(answer):
    """The form that drops the first waiting line, as a browser without scripts would send it."""
    body = answer.text[answer.text.index('<form id="drop-') :]
    tags = re.findall(r"<input ([^>]*)>", body[: body.index("</form>")])
    return {re.search(r'name="([^"]+)"', tag)[1]: re.search(r'value="([^"]*)"', tag)[1] for tag in tags}


def test_a_line_typed_after_the_post_is_told_stops_nobody_and_is_dropped_without_scripts(app, client, place):
    """Two pages of one sheet, opened before either posts."""
    first = typed_in(client, place, ZZ_001="2", ZZ_003="3")
    second = typed_in(client, place, ZZ_001="7", ZZ_002="4")
    assert client.post("/landings", data=first).status_code == 303
    posted = client.post("/landings", data=second)
    assert posted.status_code == 303
    assert sorted(on_record(app, place["day"])) == [(2, None), (3, None), (4, None)]
    shown = client.get(posted.headers["location"])
    assert "7 was typed by cle after this was posted: correct the record, or drop it." in shown.text
    told = shown.text.replace("\N{NO-BREAK SPACE}", " ")
    assert "1 line typed differs from the record: ZZ-001." in told
    assert re.search(
        r'<a class="mend" href="/corrections/\d+\?line=[\w-]+">Correct record \d+ \(7 was typed\)', shown.text
    )
    today = client.get("/").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "1 line typed that differs from the record" in today
    assert "ZZ-001, 7 by cle: correct the record, or drop it" in today
    assert "two devices differ" not in today
    form = drop_form(shown)
    back = client.post("/sheets/lines/dropped", data=form)
    assert back.headers["location"] == f"/landings?sheet={form['sheet']}"
    assert "was typed by" not in client.get(back.headers["location"]).text
    assert "differs from the record" not in client.get("/").text
    assert client.post("/landings", data=typed_in(client, place, ZZ_004="1")).status_code == 303


def test_who_typed_against_a_record_is_told_in_the_answer(app, client, place):
    client.post("/landings", data=typed_in(client, place, ZZ_001="2"))
    late = line(client, key=f"late-{place['day']}", day=place["day"], landings="7").json()["late"]
    assert late["told"].startswith("7 is kept and not posted: ZZ-001 is on record for this day.")
    assert late["correct_at"] == f"/corrections/{late['record']}?line=late-{place['day']}"
    assert "late" not in line(client, key=f"same-{place['day']}", day=place["day"], landings="2").json()


def test_a_clerk_of_another_base_drops_nothing_of_this_one(app, client, place):
    client.post("/landings", data=typed_in(client, place, ZZ_001="2"))
    sent = line(client, key=f"eve-{place['day']}", day=place["day"], landings="7").json()
    eve = browser(app)
    eve.get(link_for(app, "eve"))
    form = {"sheet": sent["sheet"], "line": f"eve-{place['day']}", "write_key": "e1"}
    token = form_on(eve.get("/landings"))["form_token"]
    assert eve.post("/sheets/lines/dropped", data={**form, "form_token": token}).status_code == 404
    assert "7 was typed by cle" in client.get("/landings", params=place).text
