"""The wear check by forms alone: asked once, saved once, held with its reason, kept within the bases of a person."""

import datetime as dt
import re
import uuid

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import func, select

from api.app import make_app
from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.settings import Settings
from api.studies import ask
from db.entry.issuing import issue_wear_check
from db.entry.sheets import SheetAsked, issue_sheet
from db.entry_quality import drawn
from db.looks import ask_rate
from db.people import add_person
from db.records.checks import LookAgain
from db.records.readings import PinReading
from db.records.sheets import Sheet
from db.secrets_kept import time_text
from db.session import Session, open_engine
from db.sessions import begin_session
from db.sheet_code import SYMBOLS, with_check
from db.sheets import sheet_by_code
from db.wear_states import wear_study
from tests.api.shown_fleet import make_shown_fleet
from tests.api.test_pages import LIMIT_WORDS, text_of

ORIGIN = {"Origin": "http://testserver"}
DAY = "2026-05-29"
HEAD = {"aircraft": "ZZ-A", "day": DAY, "unit": "mm", "convention": "left", "cold": "yes", "applied": "yes"}
SHEET = f"/pin-readings?aircraft=ZZ-A&day={DAY}"
# Positions 3 and 4 are expected at 7.4 and 7.0 mm there.
GOOD = {"pin-2-0": "7.4", "pin-3-0": "7.0"}


@pytest.fixture(scope="module")
def clients(tmp_path_factory):
    """Clerks by name, `ann` of every base and `abe` of Away, and the engine."""
    url = f"sqlite:///{tmp_path_factory.mktemp('checked') / 'shown.db'}"
    make_shown_fleet(url)
    app, engine = make_app(Settings(db=url, secure_cookie=False)), open_engine(url)
    made, now = {"engine": engine}, dt.datetime.now(dt.UTC)
    for name, bases in (("ann", ()), ("abe", ("Away",))):
        with Session(engine) as session, session.begin():
            add_person(session, name, "clerk", now=now, bases=bases)
            secret = begin_session(session, name, by="link", now=now)
        made[name] = TestClient(app, cookies={PLAIN_COOKIE: secret}, headers=ORIGIN, follow_redirects=False)
        made[name].form = {"form_token": form_token_of(secret)}
    yield made
    engine.dispose()


def send(client, key=None, **typed):
    form = {**client.form, "write_key": key or str(uuid.uuid4()), **HEAD, **typed}
    return client.post("/pin-readings", data=form)


def counted(clients, model=PinReading):
    with Session(clients["engine"]) as session:
        return session.scalar(select(func.count()).select_from(model))


def look(client, at, **typed):
    return client.get("/pin-readings/look", params={"at": at, **HEAD, **typed}).json()


def test_nothing_is_saved_until_the_odd_pin_was_looked_at_again(clients):
    before = counted(clients)
    answer = send(clients["ann"], **GOOD, **{"pin-1-0": "75", "occasion": "asked"})
    assert answer.status_code == 422
    assert "longer than new" in text_of(answer)
    answer = send(clients["ann"], **GOOD, **{"pin-1-0": "0.77", "occasion": "asked"})
    told = text_of(answer)
    assert "1 pin to look at again. Nothing is saved yet." in told
    assert "It looks like a slip of the decimal point" in told
    assert 'type="hidden" id="pin-1-0" name="pin-1-0" value="0.77"' in answer.text
    assert counted(clients) == before


def test_what_stays_odd_needs_a_reason_and_is_held_once(clients):
    before, key = counted(clients), str(uuid.uuid4())
    odd = {**GOOD, "pin-1-0": "0.77", "again-1-0": "0.77", "occasion": "kept"}
    bare = send(clients["ann"], **odd)
    assert "say why it stays" in text_of(bare)
    wordless = send(clients["ann"], **odd, **{"why-1-0": "4"})
    assert "say why it stays" in text_of(wordless)
    assert counted(clients) == before
    for _ in range(3):
        assert send(clients["ann"], key, **odd, **{"why-1-0": "1"}).status_code == 303
    assert counted(clients) == before + 3
    held = text_of(clients["ann"].get("/held"))
    assert "Note: pin A read again: 1 read again, the same." in held
    with Session(clients["engine"]) as session:
        (row,) = session.scalars(select(LookAgain)).all()
        assert (row.first, row.reason, row.changed, row.person) == (
            "0.77",
            "1 read again, the same",
            False,
            "ann",
        )
        assert ask_rate(session).asked == 1


def test_a_slip_read_again_rightly_is_accepted_and_counted_as_changed(clients):
    before = counted(clients, LookAgain)
    answer = send(clients["ann"], **{"pin-2-0": "0.74", "again-2-0": "7.4", "occasion": "changed"})
    assert answer.status_code == 303
    told = text_of(clients["ann"].get(SHEET))
    assert "7.4 mm (accepted, changed)" in told
    with Session(clients["engine"]) as session:
        assert counted(clients, LookAgain) == before + 1
        assert ask_rate(session).changed == 1


def test_the_range_is_told_in_the_unit_and_convention_typed(clients):
    told = look(clients["ann"], 2, **{"pin-2-0": "7.4"})["pins"][0]["said"]
    assert told.startswith("expected \N{ALMOST EQUAL TO}")
    low, high = (float(each) for each in told.replace("\N{NARROW NO-BREAK SPACE}", " ").split()[2:5:2])
    assert low < 7.4 < high
    inches = look(clients["ann"], 2, unit="in", **{"pin-2-0": "0.291"})["pins"][0]["said"]
    assert inches.endswith("in")
    used = look(clients["ann"], 2, convention="used", **{"pin-2-0": "22.6"})["pins"][0]["said"]
    assert f"{30 - high:.1f} to {30 - low:.1f}" in used


def test_a_pin_at_its_limit_says_so_before_and_after_it_is_saved(clients):
    assert look(clients["ann"], 3, **{"pin-3-0": "5.1"})["limit"] == ""
    assert LIMIT_WORDS in look(clients["ann"], 3, **{"pin-3-0": "5.0"})["limit"]
    assert look(clients["ann"], 3, **{"within-3": "no"})["limit"]
    assert LIMIT_WORDS in text_of(clients["ann"].get("/pin-readings?aircraft=ZZ-A&day=2026-05-31"))


def test_a_hot_pin_is_not_judged_and_clears_nothing(clients):
    told = look(clients["ann"], 3, cold="no", **{"pin-3-0": "12"})
    assert told["pins"][0]["said"].startswith("kept out of the rate")
    assert not told["pins"][0]["looked"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"cold": ""}, "Say whether the brakes were cold"),
        ({}, "Nothing was typed"),
        ({"pin-2-0": "12..4"}, "with one point"),
        ({"day": "3/4"}, "Day '3/4'"),
        ({"aircraft": "ZZ-Q"}, "No aircraft carries the registration"),
    ],
)
def test_what_cannot_be_saved_says_why(clients, typed, said):
    answer = send(clients["ann"], **typed)
    assert answer.status_code == 422
    assert said in text_of(answer)


def test_a_clerk_of_another_base_neither_sees_nor_types_the_sheet(clients):
    assert clients["abe"].get(SHEET).status_code == 404
    assert send(clients["abe"], **GOOD).status_code == 404
    assert "ZZ-A" not in clients["abe"].get("/pin-readings").text


def test_a_sheet_is_posted_only_for_the_aircraft_it_was_issued_for(clients):
    now = dt.datetime.now(dt.UTC)
    with Session(clients["engine"]) as session:
        asked = [
            SheetAsked("wear check", dt.date.fromisoformat(DAY), registration=name)
            for name in ("ZZ-A", "ZZ-B")
        ]
        own, other = (issue_sheet(session, each, {}, person="ann", now=now).code for each in asked)
        session.commit()
    before = counted(clients)
    refused = send(clients["ann"], **{"pin-2-0": "7.4", "occasion": "by sheet", "sheet": other})
    assert refused.status_code == 409
    assert "not a wear check of ZZ-A" in text_of(refused)
    assert counted(clients) == before
    assert f'name="sheet" value="{own}"' in clients["ann"].get(f"/pin-readings?sheet={own}").text
    assert send(clients["ann"], **{"pin-2-0": "7.4", "occasion": "by sheet", "sheet": own}).status_code == 303
    with Session(clients["engine"]) as session:
        assert sheet_by_code(session, own).state == "posted"
        assert sheet_by_code(session, other).state == "issued"


@pytest.fixture
def drawn_check(clients):
    """A wear check of ZZ-A whose code the draw takes, posted by somebody who has left."""
    code = next(each for each in (with_check("33" + a + b) for a in SYMBOLS for b in SYMBOLS) if drawn(each))
    day = dt.date(2026, 5, 21)
    with Session(clients["engine"]) as session, session.begin():
        now = dt.datetime.now(dt.UTC)
        made = issue_wear_check(session, SheetAsked("wear check", day, "Home", "ZZ-A"), person="zoe", now=now)
        held = session.get(Sheet, made.code)
        said = {"asks": held.asks, "base": held.base, "aircraft": held.aircraft, "day": day}
        at = time_text(now)
        session.add(
            Sheet(
                code=code,
                kind="wear check",
                **said,
                issued_by="zoe",
                issued_at=at,
                posted_by="zoe",
                posted_at=at,
            )
        )
    return code


def test_a_wear_check_is_typed_a_second_time_and_compared_pin_by_pin(clients, drawn_check):
    ann, address = clients["ann"], f"/entry-quality/{drawn_check}"
    assert address in ann.get("/entry-quality").text
    asked = ann.get(address).text
    assert "The first typing is not shown." in asked
    assert "8.6" not in asked
    marked, not_chosen = (
        {"unit": "mm", "convention": "left"},
        "Unit is not chosen; choose what the paper marks",
    )
    for wrong, said in (
        (marked, "Nothing was typed"),
        ({**marked, "pin-1-1": "abc"}, "not a number"),
        ({**marked, "unit": "", "pin-1-1": "9.4"}, not_chosen),
        ({**marked, "unit": "cm", "pin-1-1": "9.4"}, not_chosen),
    ):
        refused = ann.post(address, data={"write_key": str(uuid.uuid4()), **ann.form, **wrong})
        assert refused.status_code == 409
        assert said in text_of(refused)
    key = {"write_key": str(uuid.uuid4()), **ann.form}
    pins = {"pin-1-1": "9.4", "pin-2-1": "9", "pin-3-1": "6.8", "pin-4-1": ""}
    whole = {"unit": "in", "convention": "not marked"}
    assert ann.post(address, data={**key, **whole, **pins}).status_code == 303
    told = text_of(ann.get(address))
    assert "6 of 8" in told, (
        "two pins, and the unit of each of four records; what is not marked is not compared"
    )
    assert told.count("unit mm in record") == 4
    assert "6.8" in told
    assert "8.6 mm" in told
    assert "9.4 mm" not in told


def test_once_saved_the_landings_left_are_told_with_the_figures_of_the_last_study(clients):
    ask(clients["engine"], on=None, known_on=None, seed=1)
    with Session(clients["engine"]) as session:
        study = wear_study(session)
    answer = send(clients["ann"], day="2026-05-31", **{"pin-2-0": "7.3", "occasion": "left"})
    told = text_of(clients["ann"].get(answer.headers["location"]))
    found = re.findall(r"By this reading the limit is (.+?) braked landings ahead \(8 in 10\)", told)
    assert len(found) == 1, "not for the brakes that were not read, nor for the one at its limit"
    assert f"figures of study {study}." in told
    again = text_of(clients["ann"].get("/pin-readings?aircraft=ZZ-A&day=2026-05-31"))
    assert "By this reading" not in again
