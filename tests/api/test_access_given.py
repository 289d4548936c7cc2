"""Who gave whom which access is kept and told; a link from another's hand makes no second person."""

import json
import logging

import pytest

from api import logs
from db.access_acts import SERVICE, Doer
from db.people import issue_link
from db.session import Session
from tests.api.entrance import browser, make_entrance, now, send, sign_in

OTHER = "another lamp by the sea"
# What only a second person may do, as page and as JSON; with no such record behind it.
SECOND = ("/held/999", "/assumptions/999/approval", "/api/v1/rulings", "/api/v1/records/999/approval")
HANDED_OVER = "somebody else made"


@pytest.fixture
def app(sqlite_url):
    return make_entrance(sqlite_url)


@pytest.fixture
def ann(app):
    """An administrator who signed in by her own password."""
    client = browser(app)
    sign_in(client)
    return client


def added(app, ann, name="pol", role="planner"):
    """Somebody whom ann adds, come in by the link that she was shown."""
    page = send(ann, "/people", page="/people", name=name, role=role)
    client = browser(app)
    assert client.get(page.text.partition("<code>")[2].partition("</code>")[0]).status_code == 303
    return client


def refused(client):
    """Which second person's acts are refused because of the way in."""
    answers = {path: send(client, path) for path in SECOND}
    return {
        path for path, answer in answers.items() if answer.status_code == 403 and HANDED_OVER in answer.text
    }


def test_an_administrator_is_not_their_own_second_person_by_a_link_for_another(app, ann):
    pol = added(app, ann)
    assert refused(pol) == set(SECOND)
    assert HANDED_OVER in pol.get("/account").text
    assert HANDED_OVER in pol.get("/held").text or "No reading waits" in pol.get("/held").text
    assert send(pol, "/account/password", new=OTHER).status_code == 303
    assert refused(pol) == set(SECOND), "a password set in it changes nothing in that session"
    send(pol, "/sign-in", page="/sign-in", name="pol", password=OTHER)
    assert refused(pol) == set()
    assert HANDED_OVER not in pol.get("/account").text.partition("Who gave you access")[0]


def test_such_a_session_makes_no_token_that_does_it_either(app, ann):
    pol = added(app, ann)
    for scope in ("records.rule", "assumptions.approve"):
        assert f'value="{scope}"' not in pol.get("/account").text
        assert send(pol, "/account/tokens", label="x", scope=scope, days="1").status_code == 409


def test_the_link_that_the_service_printed_at_its_start_stands_for_whoever_started_it(app):
    with Session(app.state.engine) as session:
        secret = issue_link(session, "ann", now=now(), by=Doer(way=SERVICE))
        session.commit()
    client = browser(app)
    client.get(f"/enter/{secret}")
    assert refused(client) == set()
    assert "made at the start of the service" in client.get("/account").text


def rows(page, part):
    """Rows of the table with this heading, as text."""
    table = page.partition(f"<h2>{part}</h2>")[2].partition("</table>")[0]
    return [" ".join(row.replace(">", "> ").split()) for row in table.split("<tr>")[2:]]


def test_people_and_account_tell_who_gave_whom_which_access_and_whether_a_link_was_used(app, ann):
    pol = added(app, ann)
    send(ann, "/people/link", page="/people", name="pol")
    send(ann, "/people/sign-out", page="/people", name="cle")
    send(ann, "/people/end", page="/people", name="cle")
    told = rows(ann.get("/people").text, "Who gave whom access")
    assert all("ann" in row for row in told[:5])
    for words in (
        ("pol", "Access given: planner, every base"),
        ("pol", "One-time link made; used 20"),
        ("pol", "One-time link made; not used yet"),
        ("cle", "Access ended"),
        ("cle", "Signed out everywhere"),
    ):
        assert any(all(word in row for word in words) for row in told), words
    own = pol.get("/account").text
    assert "A link in your name was made by ann on" in own
    assert not any("cle" in row for row in rows(own, "Who gave you access"))
    assert len(rows(own, "Who gave you access")) == 3


def test_a_role_is_changed_and_access_given_back_on_people_and_told(app, ann):
    pol = added(app, ann)
    assert send(ann, "/people/change", page="/people", name="pol", role="reader").status_code == 303
    assert "pol, reader, every base" in pol.get("/account").text
    send(ann, "/people/end", page="/people", name="pol")
    page = send(ann, "/people/back", page="/people", name="pol")
    assert browser(app).get(page.text.partition("<code>")[2].partition("</code>")[0]).status_code == 303
    assert pol.get("/account").status_code == 401
    told = " ".join(rows(page.text, "Who gave whom access"))
    for words in ("from planner, every base to reader, every base", "Access given back: reader, every base"):
        assert words in told
    assert "your own role" in send(ann, "/people/change", page="/people", name="ann", role="clerk").text


def test_the_log_names_whose_access_it_was(app, ann, caplog):
    caplog.set_level(logging.INFO, logger="pinledger")
    send(ann, "/people/link", page="/people", name="cle")
    send(ann, "/people/link", page="/people", name="a password typed here")
    line = logs.JsonLines()
    told = [json.loads(line.format(record)) for record in caplog.records if record.name == "pinledger"]
    made = [each for each in told if each["method"] == "POST"]
    assert [(each["event"], each["person"], each.get("subject")) for each in made] == [
        ("link made", "ann", "cle"),
        ("request", "ann", None),
    ]
