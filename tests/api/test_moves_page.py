"""Install and remove by forms alone: checked, shown before it is recorded, recorded once, refused beside its field."""

import datetime as dt
import re
import shutil
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from db.entry.installations import record_installations
from db.lookup import brakes_by_serial
from db.session import Session, open_engine
from db.sessions import begin_session
from db.whereabouts import whereabouts
from tests.api.one_app import app_on
from tests.ledger import ACT, TODAY, installation, rows
from tests.moving_fleet import make_moving_fleet

ORIGIN = {"Origin": "http://testserver"}
DAY = str(TODAY)


@pytest.fixture(scope="module")
def laid(sqlite_copies):
    with sqlite_copies("moves_laid") as url:
        make_moving_fleet(url)
        yield Path(url.removeprefix("sqlite:///"))


@pytest.fixture
def engine(laid, tmp_path):
    shutil.copy(laid, tmp_path / "moves.db")
    engine = open_engine(f"sqlite:///{tmp_path / 'moves.db'}")
    yield engine
    engine.dispose()


@pytest.fixture
def client(engine):
    """A client in somebody's name."""
    app = app_on(str(engine.url))

    def of(name):
        with Session(engine) as session, session.begin():
            secret = begin_session(session, name, by="link", now=dt.datetime.now(dt.UTC))
        made = TestClient(app, cookies={PLAIN_COOKIE: secret}, headers=ORIGIN, follow_redirects=False)
        made.token = form_token_of(secret)
        return made

    return of


@pytest.fixture
def ann(client):
    return client("ann")


def fields_of(page):
    """The fields of the page's own form, as a browser sends them."""
    body = page.text[page.text.index('class="entry') :]
    body = body[: body.index("</form>")]
    found = dict(re.findall(r'<input type="(?:hidden|text)"[^>]*? name="([^"]+)" value="([^"]*)"', body))
    for name, inside in re.findall(r'<select id="[^"]+" name="([^"]+)"[^>]*>(.*?)</select>', body, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected', inside)
        found[name] = chosen[1] if chosen else re.search(r'value="([^"]*)"', inside)[1]
    return found


def change(client, *positions, **typed):
    """The form of these positions, filled in and looked at."""
    form = client.get("/moves", params={"registration": "ZZ-001", "position": positions})
    assert form.status_code == 200, form.text
    return client.post("/moves", data={**fields_of(form), **typed, "act": "check"})


def record(client, looked_at):
    assert looked_at.status_code == 200, looked_at.text
    assert "nothing is recorded yet" in looked_at.text
    return client.post("/moves", data={**fields_of(looked_at), "act": "record"})


def places(engine):
    with Session(engine) as session:
        numbers = {serial: number for (serial, _), number in brakes_by_serial(session).items()}
        found = whereabouts(session, numbers.values())
    return {serial: found[number].told for serial, number in numbers.items()}


OFF_AND_ON = {
    "work_order": "WO-7",
    "off-0": "1001",
    "reason-0": "worn",
    "goes-0": "shop:overhaul",
    "pins-0": "5.2 5.4",
    "on-0": "b-2004",
    "landings": "900",
}


def test_a_change_is_shown_recorded_once_and_seen_where_it_is_now(ann, engine):
    looked_at = change(ann, "1", **OFF_AND_ON)
    assert "AB-1001" in looked_at.text
    assert "starts as new" in looked_at.text
    form = fields_of(looked_at)
    first = ann.post("/moves", data={**form, "act": "record"})
    assert first.status_code == 303, first.text
    again = ann.post("/moves", data={**form, "act": "record"})
    assert again.headers["location"] == first.headers["location"]
    assert places(engine)["AB-1001"] == f"at the shop (overhaul) since {DAY}"
    assert places(engine)["AB-2004"] == f"on ZZ-001, position 1, since {DAY}"
    shown = ann.get(first.headers["location"]).text
    assert "Recorded under work order WO-7." in shown
    assert "at the shop (overhaul)" in shown


def test_looking_at_it_keeps_nothing(ann, engine):
    before = places(engine)
    assert change(ann, "1", **OFF_AND_ON).status_code == 200
    assert places(engine) == before


def test_wrong_last_four_are_refused_naming_the_record_and_what_to_do(ann):
    answer = change(ann, "1", **{**OFF_AND_ON, "off-0": "1010"})
    assert answer.status_code == 422
    assert "1010 does not end AB-1001, which is on record here since 2026-01-01" in answer.text
    assert 'value="1010"' in answer.text
    assert '<a href="#off-0">' in answer.text
    assert 'id="error-off-0"' in answer.text


@pytest.mark.parametrize(
    ("typed", "field", "told"),
    [
        ({"reason-0": ""}, "reason-0", "choose why it came off"),
        ({"goes-0": ""}, "goes-0", "choose where it goes"),
        ({"work_order": ""}, "work_order", "enter the work order"),
        ({"day": "3/4"}, "day", "3/4"),
        ({"on-0": "9999"}, "on-0", "no serial on record ends in 9999"),
        ({"on-0": "004"}, "on-0", "no serial on record ends in 004"),
        ({"pins-0": "5..2"}, "pins-0", "5..2"),
        ({"landings": "many"}, "landings", "many"),
        ({"off-0": "", "reason-0": "", "goes-0": "", "pins-0": ""}, "off-0", "AB-1001 is in this position"),
    ],
)
def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_stays(ann, typed, field, told):
    answer = change(ann, "1", **{**OFF_AND_ON, **typed})
    assert answer.status_code == 422
    beside = re.search(rf'id="error-{field}">([^<]*)<', answer.text)
    assert beside, re.findall(r'id="error-[^<]*<', answer.text)
    assert told.lower() in beside[1].lower()
    assert 'value="WO-7"' in answer.text or "work_order" in typed


def test_a_pin_that_is_no_length_is_told_at_the_first_look_beside_all_else_that_is_wrong(ann):
    answer = change(ann, "1", **{**OFF_AND_ON, "work_order": "", "pins-0": "5.2 12..4", "pin-0": "-3"})
    for field, told in (("work_order", "enter the work order"), ("pins-0", "12..4"), ("pin-0", "negative")):
        assert told in re.search(rf'id="error-{field}">([^<]*)<', answer.text)[1].lower()


@pytest.mark.parametrize(
    ("tail", "told"),
    [
        ("2005", "AB-2005, BT-1 ("),
        ("2004", "Taken: AB-2004, BT-1 ("),
        ("9999", "No serial on record ends in 9999"),
        ("004", "No serial on record ends in 004"),
        ("", "No serial on record ends in"),
    ],
)
def test_what_the_end_of_a_serial_means_is_said_while_it_is_typed(ann, tail, told):
    asked = {"registration": "ZZ-001", "position": "1", "positions": "1", "tail": tail}
    said = ann.get("/moves/serials", params=asked).json()["told"]
    assert said.startswith(told)
    assert ("XY-2004" in said) == (tail == "2004")


def test_serials_that_end_alike_are_told_of_what_comes_off_too(ann, engine):
    with Session(engine) as session, session.begin():
        there = installation("AB-2004", 1, "2026-01-01", registration="ZZ-101")
        record_installations(session, ACT, rows("installations", there))
    asked = {"registration": "ZZ-101", "position": "1", "side": "off"}
    for tail, told in (
        ("2004", "Taken: AB-2004. In 2004 also ends XY-2004, BT-2 (never installed; no place on record)"),
        ("AB-2004", "AB-2004, as on record."),
        ("2005", "AB-2004 is on record here, which does not end in 2005."),
    ):
        assert ann.get("/moves/serials", params={**asked, "tail": tail}).json()["told"].startswith(told)
    typed = {"registration": "ZZ-101", "off-0": "2004", "on-0": "", "start-0": "", "pin-0": ""}
    looked_at = re.sub(r"<[^>]+>", "", change(ann, "1", **{**OFF_AND_ON, **typed}).text)
    assert (
        "Also ends in 2004: XY-2004 (never installed; no place on record). Read the whole serial on the brake."
        in looked_at
    )


def test_the_last_four_are_matched_among_brakes_that_may_go_there(ann):
    looked_at = change(ann, "1", **{**OFF_AND_ON, "on-0": "2004"})
    assert looked_at.status_code == 200
    assert "AB-2004" in looked_at.text
    assert "XY-2004" not in looked_at.text


def test_outside_effectivity_and_mixed_it_is_shown_before_and_kept_as_a_flag(ann):
    looked_at = change(ann, "1", **{**OFF_AND_ON, "on-0": "XY-2004", "start-0": "overhauled"})
    assert "XY-2004 brake type BT-2 is outside the effectivity on record for position 1" in looked_at.text
    assert "is mixed with BT-1 in position 2" in looked_at.text
    assert record(ann, looked_at).status_code == 303
    assert "outside the effectivity on record" in ann.get("/moves?registration=ZZ-001").text


def test_two_positions_are_swapped_in_one_act(ann, engine):
    swapped = {
        "work_order": "WO-8",
        "off-0": "1001",
        "reason-0": "other",
        "on-0": "1002",
        "off-1": "1002",
        "reason-1": "other",
        "on-1": "1001",
    }
    assert record(ann, change(ann, "1", "2", **swapped)).status_code == 303
    assert places(engine)["AB-1001"] == f"on ZZ-001, position 2, since {DAY}"
    assert places(engine)["AB-1002"] == f"on ZZ-001, position 1, since {DAY}"


def test_a_brake_is_robbed_from_another_aircraft_once_that_is_said(ann, engine):
    typed = {**OFF_AND_ON, "on-0": "1003"}
    asked = change(ann, "1", **typed)
    assert asked.status_code == 422
    assert "AB-1003 is on ZZ-002, position 1, since 2026-01-01" in asked.text
    looked_at = ann.post(
        "/moves", data={**fields_of(asked), "rob-0": "yes", "roblandings-0": "70", "act": "check"}
    )
    assert "leaves ZZ-002 position 1 empty" in looked_at.text
    assert record(ann, looked_at).status_code == 303
    assert places(engine)["AB-1003"] == f"on ZZ-001, position 1, since {DAY}"
    half = ann.get("/moves").text.replace("\N{NO-BREAK SPACE}", " ")
    assert "1 move is half done." in half
    assert "ZZ-002, 1" in half


def test_nothing_of_it_is_kept_where_the_aircraft_was_changed_meanwhile(ann, engine):
    looked_at = change(ann, "1", **OFF_AND_ON)
    other = change(ann, "1", **{**OFF_AND_ON, "on-0": "", "goes-0": "none", "work_order": "WO-9"})
    assert record(ann, other).status_code == 303
    before = places(engine)
    late = record(ann, looked_at)
    assert late.status_code == 422
    assert "No brake is on record in this position" in late.text
    assert places(engine) == before


def test_a_brake_goes_to_the_shop_comes_back_in_exchange_and_goes_on(ann, engine):
    assert record(ann, change(ann, "1", **{**OFF_AND_ON, "on-0": ""})).status_code == 303
    page = ann.get("/moves/brake", params={"serial": "1001"})
    assert "AB-1001 is at the shop (overhaul)" in page.text
    back = {"what": "exchanged", "serial_back": "EX-0001", "brake_type_back": "BT-1", "new_here": "yes"}
    saved = ann.post(
        "/moves/brake", data={**fields_of(page), **back, "to_base": "Home", "cost": "90", "currency": "eur"}
    )
    assert saved.status_code == 303, saved.text
    told = places(engine)
    assert told["AB-1001"] == f"left with the shop in exchange since {DAY}"
    assert told["EX-0001"] == f"in stock at Home, serviceable, since {DAY}"
    refused = change(ann, "1", work_order="WO-9", **{"on-0": "1001"})
    assert "AB-1001 is left with the shop in exchange" in refused.text
    looked_at = change(ann, "1", work_order="WO-9", **{"on-0": "0001"})
    assert "starts as overhauled" in looked_at.text


def test_a_brake_at_the_shop_is_scrapped_there_as_a_correction_of_its_visit(ann, engine):
    assert record(ann, change(ann, "1", **{**OFF_AND_ON, "on-0": ""})).status_code == 303
    page = ann.get("/moves/brake", params={"serial": "1001"})
    assert ann.post("/moves/brake", data={**fields_of(page), "what": "scrapped"}).status_code == 303
    assert places(engine)["AB-1001"] == f"scrapped since {DAY}"


def test_a_brake_new_here_is_entered_where_it_was_not_found(ann, engine):
    page = ann.get("/moves/brake", params={"serial": "NEW-77"})
    assert page.status_code == 404
    form = {**fields_of(page), "serial_new": "NEW-7701", "brake_type_new": "BT-1", "landings_since_new": "0"}
    assert ann.post("/moves/brake", data=form).status_code == 303
    assert places(engine)["NEW-7701"] == "never installed; no place on record"


def test_a_refused_move_of_a_brake_keeps_what_was_typed(ann):
    page = ann.get("/moves/brake", params={"serial": "AB-2004"})
    answer = ann.post(
        "/moves/brake", data={**fields_of(page), "what": "sent", "day": "3/4", "work": "repair"}
    )
    assert answer.status_code == 422
    assert 'value="3/4"' in answer.text
    assert 'id="error-day"' in answer.text


def test_a_clerk_of_one_base_neither_opens_nor_robs_an_aircraft_of_another(client, engine):
    hal, ann = client("hal"), client("ann")
    assert hal.get("/moves", params={"registration": "ZZ-201"}).status_code == 404
    assert hal.get("/moves/brake", params={"serial": "3001"}).status_code == 404
    typed = {"work_order": "WO-7", "on-0": "3001", "rob-0": "yes"}
    form = fields_of(hal.get("/moves", params={"registration": "ZZ-101", "position": "1"}))
    unseen = hal.post("/moves", data={**form, **typed, "act": "check"})
    assert "No serial on record ends in 3001" in unseen.text
    theirs = fields_of(ann.get("/moves", params={"registration": "ZZ-201", "position": "1"}))
    sent = {**theirs, "form_token": hal.token, "work_order": "WO-7", "on-0": "2004", "off-0": "3001"}
    sent |= {"reason-0": "worn", "goes-0": "scrap", "act": "record"}
    assert hal.post("/moves", data=sent).status_code == 404
    assert places(engine)["AB-3001"] == "on ZZ-201, position 1, since 2026-01-01"


def test_a_clerk_of_one_base_puts_nothing_into_the_stock_of_another(client, engine):
    hal = client("hal")
    asked = {"registration": "ZZ-101", "position": "1"}
    form = fields_of(hal.get("/moves", params=asked))
    typed = {"work_order": "WO-7", "on-0": "2004", "day": "2026-02-01"}
    assert record(hal, hal.post("/moves", data={**form, **typed, "act": "check"})).status_code == 303
    form = fields_of(hal.get("/moves", params=asked))
    typed = {"work_order": "WO-8", "off-0": "2004", "reason-0": "worn", "goes-0": "stock:serviceable:Away"}
    for act in ("check", "record"):
        assert hal.post("/moves", data={**form, **typed, "act": act}).status_code == 404
    assert places(engine)["AB-2004"] == "on ZZ-101, position 1, since 2026-02-01"
