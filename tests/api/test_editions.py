"""Editions: what was shown is frozen, opens as it was, stands beside today's answer, and is withdrawn with a reason."""

import datetime as dt
import html
import json
import re
import shutil
import uuid

import pytest
from fastapi.testclient import TestClient

from api import cli
from api.app import make_app
from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.form_guard import HEADER
from api.settings import Settings
from api.shown_brief import brief_of, read_again
from api.studies import ask
from db.chain import Act
from db.entry.approvals import approve
from db.entry.corrections import correct
from db.lookup import current
from db.people import add_person
from db.recorded import read_record
from db.records.economics import AssumptionEntry
from db.session import Session, open_engine
from db.sessions import begin_session

ORIGIN = {"Origin": "http://testserver"}
BRIEF = "/retrofit?from=S-100&to=C-200"


@pytest.fixture(scope="module")
def url(shown_url, tmp_path_factory):
    """A copy of the small fleet, as editions stay on record."""
    path = tmp_path_factory.mktemp("editions") / "ledger.db"
    shutil.copy(shown_url.removeprefix("sqlite:///"), path)
    return f"sqlite:///{path}"


@pytest.fixture(scope="module")
def people(url):
    app, now, made = make_app(Settings(db=url, secure_cookie=False)), dt.datetime.now(dt.UTC), {}
    for role in ("planner", "reader", "administrator"):
        with Session(open_engine(url)) as session:
            add_person(session, f"e {role}", role, now=now)
            secret = begin_session(session, f"e {role}", by="link", now=now)
            session.commit()
        headers = {**ORIGIN, HEADER: form_token_of(secret)}
        made[role] = TestClient(app, cookies={PLAIN_COOKIE: secret}, headers=headers)
    return made


def form_on(page, **typed):
    hidden = dict(re.findall(r'type="hidden" name="(study|from|to|write_key|version)" value="([^"]*)"', page))
    return {**hidden, **typed}


@pytest.fixture(scope="module")
def kept(people):
    """The address of an edition frozen by the planner from the brief's own page."""
    page = people["planner"].get(BRIEF).text
    answer = people["planner"].post(
        "/editions", data=form_on(page, title="For the board"), follow_redirects=False
    )
    assert answer.status_code == 303
    return answer.headers["location"]


def raise_kit_cost(url, value="90000"):
    """Somebody corrects the kit's cost, somebody else approves it."""
    with Session(open_engine(url)) as session:
        row = session.execute(current(AssumptionEntry).where(AssumptionEntry.name == "kit_cost")).one()
        found = read_record(session, row.fact)
        act = Act("ann", "form", "correct a record", "a new offer")
        values = {"value": value, "low": "80000", "high": "99000"}
        done = correct(
            session, act, row.fact, version=found.tag, values=values, today=dt.datetime.now(dt.UTC).date()
        )
        approve(session, Act("bob", "form", "approve"), row.fact, version=done.record.tag)
        session.commit()


def test_an_edition_shows_what_was_frozen_whatever_is_recorded_later(people, kept, url):
    before = people["reader"].get(kept).text
    assert "by e planner: as it was shown then" in before
    told = re.search(r'<p class="answer">.*?</p>', people["reader"].get(BRIEF).text).group()
    assert told in before
    raise_kit_cost(url)
    assert people["reader"].get(kept).text == before
    assert told not in people["reader"].get(BRIEF).text or "90" in people["reader"].get(BRIEF).text
    assert "40 000" in before.replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\N{NO-BREAK SPACE}", " ")


def test_the_list_puts_today_beside_it_and_says_which_input_moved(people, kept, url):
    page = people["reader"].get("/editions").text
    assert "For the board" in page
    assert "kit cost: 40" in page
    [told] = people["reader"].get("/api/v1/editions").json()
    assert told["changed"]
    assert [each["name"] for each in told["inputs"]] == ["kit cost"]
    assert told["by_records"] == pytest.approx(0)
    assert told["then"]["npv"] + told["by_assumptions"] == pytest.approx(told["now"]["npv"])
    assert told["now"]["npv"] < told["then"]["npv"]
    front = people["reader"].get("/").text
    assert "Editions, and what moved" in front


def test_an_answer_comes_back_by_the_head_that_was_printed_with_it(people, url):
    reader, asked = people["reader"], "/api/v1/briefing?from=S-100&to=C-200"
    before, page = reader.get(asked).json(), reader.get(BRIEF).text
    again = html.unescape(re.search(r'href="([^"]+)">this page again', page)[1])
    raise_kit_cost(url, "95000")
    assert reader.get(asked).json()["npv"] != before["npv"]
    assert reader.get(f"{asked}&known_head={before['ledger_head'][:16]}").json() == before
    answers = [
        re.search(r'<p class="answer">.*?</p>', each).group() for each in (page, reader.get(again).text)
    ]
    assert answers[0] == answers[1]
    studies = [
        re.search(r"Study (S-\w+)", reader.get(f"{path}?known_head={before['ledger_head']}").text)[1]
        for path in ("/", "/cost")
    ]
    assert studies == [re.search(r"Study (S-\w+)", page)[1]] * 2
    refused = reader.get(f"{asked}&known_head=abcabcabcabc")
    assert (refused.status_code, "no one change of the log" in refused.text) == (404, True)


def test_what_was_frozen_is_every_figure_of_the_brief(people, kept, url):
    frozen = people["reader"].get(f"{kept}/frozen.json").text
    told = people["reader"].get(f"/api/v1{kept}").json()
    assert json.loads(frozen) == told["shown"]
    edition = told["edition"]
    study = ask(
        open_engine(url),
        on=dt.date.fromisoformat(edition["forecast_on"]),
        known_on=dt.date.fromisoformat(edition["records_known_on"]),
        seed=edition["seed"],
        known_seq=edition["seq"] - 1,
    )
    assert study.number == edition["study"]
    assert read_again(frozen) == brief_of(study, "S-100", "C-200")


def test_an_edition_exports_with_its_head_and_prints_both_hashes(people, kept):
    edition = people["reader"].get(f"/api/v1{kept}").json()["edition"]
    page = people["reader"].get(kept).text
    for text in (edition["records_head"], edition["entry"]):
        assert text in re.sub(r"(?<=[0-9a-f]{8}) (?=[0-9a-f]{8})", "", page)
    named = people["reader"].get(f"{kept}?format=csv").headers["content-disposition"]
    assert edition["records_head"][:12] in named


def test_who_may_not_freeze_is_offered_no_form_and_refused(people):
    page = people["reader"].get(BRIEF).text
    assert "Freeze as an edition" not in page
    assert people["reader"].post("/editions", data={"title": "x"}).status_code == 403


def test_a_brief_of_an_unknown_study_is_refused_in_words(people):
    page = people["planner"].get(BRIEF).text
    answer = people["planner"].post("/editions", data=form_on(page, title="x", study="S-0"))
    assert answer.status_code == 409
    assert "open the brief again" in answer.text


def test_programs_freeze_and_withdraw_with_a_version_and_a_reason(people):
    study = people["planner"].get("/api/v1/briefing?from=S-100&to=C-200").json()["study"]
    asked = {"title": "by program", "study": study, "from_type": "S-100", "to_type": "C-200"}
    key = {"Idempotency-Key": str(uuid.uuid4())}
    made = people["planner"].post("/api/v1/editions", json=asked, headers=key)
    assert made.status_code == 201
    assert people["planner"].post("/api/v1/editions", json=asked, headers=key).json() == made.json()
    address = f"/api/v1/editions/{made.json()['number']}"
    bare = {"Idempotency-Key": str(uuid.uuid4())}
    assert people["planner"].delete(address, headers=bare).status_code == 428
    named = {**bare, "If-Match": made.headers["etag"]}
    assert people["planner"].delete(address, headers=named).status_code == 422
    gone = people["planner"].delete(f"{address}?reason=a+try", headers=named)
    assert (gone.status_code, gone.json()["reason"]) == (200, "a try")


def test_a_withdrawn_edition_is_read_with_who_and_why(people, kept):
    page = people["administrator"].get(kept).text
    answer = people["administrator"].post(
        f"{kept}/withdrawal", data=form_on(page, reason="the kit has another price")
    )
    assert answer.status_code == 200
    assert "Withdrawn on" in answer.text
    assert "the kit has another price" in answer.text
    assert "Withdraw this edition" not in answer.text
    assert "the kit has another price" in people["reader"].get("/editions").text


def test_the_command_line_freezes_lists_prints_and_withdraws(people, url, capsys):
    where = ["--db", url, "--format", "json"]
    with Session(open_engine(url)) as session:
        add_person(session, "pat", "planner", now=dt.datetime.now(dt.UTC))
        session.commit()
    words = [
        "briefing",
        "--from",
        "S-100",
        "--to",
        "C-200",
        "--freeze",
        "by command",
        "--person",
        "pat",
        *where,
    ]
    assert cli.main(["eve" if word == "pat" else word for word in words]) == 1
    assert "'eve' has no access here" in json.loads(capsys.readouterr().out)["detail"]
    assert cli.main(words) == 0
    number = re.search(r"kept as edition (\d+)", capsys.readouterr().err).group(1)
    assert cli.main(["editions", *where]) == 0
    assert json.loads(capsys.readouterr().out)[0]["edition"]["title"] == "by command"
    assert cli.main(["editions", "--number", number, *where]) == 0
    assert json.loads(capsys.readouterr().out)["shown"]["from_type"] == "S-100"
    assert "by pat (by the command line): as it was shown" in people["reader"].get(f"/editions/{number}").text
    words = ["withdraw-edition", number, "--reason", "a try", "--person", "pat", *where]
    assert cli.main(["eve" if word == "pat" else word for word in words]) == 1
    assert "say --person NAME" in json.loads(capsys.readouterr().out)["detail"]
    assert cli.main(words) == 0
    assert json.loads(capsys.readouterr().out)[0]["reason"] == "a try"
