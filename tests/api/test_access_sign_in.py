"""Coming in and going out, as a browser does it."""

import pyotp
import pytest

from db import authenticators, people, sessions
from db.attempts import MOST_BY_NAME
from db.records.people import PersonSession
from db.session import Session
from tests.api.entrance import PASSWORD, browser, link_for, make_entrance, now, send, sign_in


@pytest.fixture
def app(sqlite_url):
    return make_entrance(sqlite_url)


def come_in(app, name="cle"):
    client = browser(app)
    assert client.get(link_for(app, name)).status_code == 303
    return client


def test_name_and_password_open_a_session(app):
    client = browser(app)
    answer = sign_in(client)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert client.get("/account").status_code == 200


@pytest.mark.parametrize(
    ("name", "password"), [("ann", "wrong"), ("cle", ""), ("bob", PASSWORD), ("", ""), ("ANN", PASSWORD)]
)
def test_whatever_is_wrong_the_answer_is_the_same(app, name, password):
    answer = sign_in(browser(app), name, password)
    assert answer.status_code == 401
    assert "The name, the password or the code is wrong" in answer.text
    assert "set-cookie" not in answer.headers


def test_the_cookie_is_hidden_from_scripts_and_from_other_sites(app, sqlite_copies):
    told = sign_in(browser(app)).headers["set-cookie"]
    assert told.startswith("pinledger=")
    assert "HttpOnly" in told
    assert "SameSite=strict" in told
    with sqlite_copies("secured") as url:
        secured = sign_in(browser(make_entrance(url, secure_cookie=True))).headers["set-cookie"]
    assert secured.startswith("__Host-pinledger=")
    assert all(each in secured for each in ("Secure", "HttpOnly", "SameSite=strict", "Path=/"))
    assert "Domain" not in secured


def test_attempts_run_out_even_for_the_right_password_and_a_link_goes_round_that(app):
    for _ in range(MOST_BY_NAME):
        assert sign_in(browser(app), password="wrong").status_code == 401
    answer = sign_in(browser(app))
    assert answer.status_code == 429
    assert "Too many attempts" in answer.text
    assert browser(app).get(link_for(app, "ann")).status_code == 303


def test_signing_in_ends_the_session_that_was_open_in_this_browser(app):
    client = come_in(app, "ann")
    before = client.cookies["pinledger"]
    send(client, "/sign-in", page="/sign-in", name="ann", password=PASSWORD)
    assert client.cookies["pinledger"] != before
    assert browser(app, cookies={"pinledger": before}).get("/account").status_code == 401


def test_signing_out_ends_the_session_here_and_at_the_server(app):
    client = come_in(app)
    kept = client.cookies["pinledger"]
    answer = send(client, "/sign-out")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    assert answer.headers["clear-site-data"] == '"cache"'
    assert "pinledger" not in client.cookies
    assert browser(app, cookies={"pinledger": kept}).get("/account").status_code == 401


def test_an_idle_session_asks_who_is_there(app):
    client = come_in(app)
    with Session(app.state.engine) as session:
        for each in session.query(PersonSession):
            each.last_used_at = people.time_text(now() - 2 * sessions.IDLE)
        session.commit()
    answer = client.get("/account")
    assert answer.status_code == 401
    assert 'action="/sign-in"' in answer.text


def test_use_is_written_down_so_that_a_session_in_use_stays(app):
    client = come_in(app)
    with Session(app.state.engine) as session:
        session.query(PersonSession).one().last_used_at = people.time_text(now() - sessions.IDLE / 2)
        session.commit()
    client.get("/account")
    with Session(app.state.engine) as session:
        assert session.query(PersonSession).one().last_used_at >= people.time_text(now() - sessions.GRAIN)


def test_a_spent_link_says_so(app):
    link = link_for(app, "cle")
    assert browser(app).get(link).status_code == 303
    answer = browser(app).get(link)
    assert answer.status_code == 404
    assert "used or has expired" in answer.text


def test_a_person_with_an_authenticator_gives_a_code_whichever_way_they_come(app):
    with Session(app.state.engine) as session:
        code = pyotp.TOTP(authenticators.begin_authenticator(session, "ann", now=now()))
        session.get(authenticators.PersonAuthenticator, "ann").confirmed = True
        session.commit()
    assert sign_in(browser(app)).status_code == 401
    assert sign_in(browser(app), code="000000").status_code == 401
    client, link = browser(app), link_for(app, "ann")
    asked = client.get(link)
    assert asked.status_code == 200
    assert "set-cookie" not in asked.headers
    assert client.post(link, data={"code": "000000"}).status_code == 401
    given = code.now()
    assert client.post(link, data={"code": given}).status_code == 303
    assert sign_in(browser(app), code=given).status_code == 401, "a code works once"


def test_no_account_is_there_from_the_start(sqlite_copies):
    with sqlite_copies("empty") as url:
        app = make_entrance(url)
        for name in ("admin", "administrator", "root", "demo administrator"):
            for password in ("", name, "admin", "password"):
                assert sign_in(browser(app), name, password).status_code in (401, 429)
