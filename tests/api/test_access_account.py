"""One's own account and the People page, form by form."""

import datetime as dt
import time

import pyotp
import pytest
from fastapi.testclient import TestClient

from db.session import Session
from db.sessions import list_sessions
from tests.api.entrance import PASSWORD, browser, link_for, make_entrance, now, send, sign_in

OTHER = "another lamp by the sea"


@pytest.fixture
def app(sqlite_url):
    return make_entrance(sqlite_url)


def come_in(app, name):
    client = browser(app)
    client.get(link_for(app, name))
    return client


def shown_once(answer):
    assert answer.status_code == 200, answer.text
    return answer.text.partition("<code>")[2].partition("</code>")[0]


def token_of(app, client, scope="log.verify"):
    secret = shown_once(send(client, "/account/tokens", label="robot", scope=scope, days="30"))
    return TestClient(app, headers={"Authorization": f"Bearer {secret}"})


def test_a_link_lets_a_password_be_set_and_every_other_session_ends(app):
    client, elsewhere = come_in(app, "cle"), come_in(app, "cle")
    robot = token_of(app, elsewhere, "records.export")
    assert robot.get("/api/v1/verify").status_code == 403, "known, if not for this"
    assert send(client, "/account/password", new=OTHER).status_code == 303
    assert client.get("/account").status_code == 200
    assert elsewhere.get("/account").status_code == 401
    assert robot.get("/api/v1/verify").status_code == 401
    assert sign_in(browser(app), "cle", OTHER).status_code == 303


def test_a_password_is_set_anew_by_a_link_made_for_that_alone_and_its_person_is_told(app):
    keeper = browser(app)
    sign_in(keeper)
    robot = token_of(app, keeper)
    plain = come_in(app, "ann")
    assert "present password is wrong" in send(plain, "/account/password", new=OTHER).text
    link = shown_once(send(keeper, "/people/link", page="/people", name="ann", resets="yes"))
    client = browser(app)
    client.get(link)
    assert "present password is wrong" in send(client, "/account/authenticator").text
    assert robot.get("/api/v1/verify").status_code == 200
    assert send(client, "/account/password", new=OTHER).status_code == 303
    assert robot.get("/api/v1/verify").status_code == 401
    assert "present password is wrong" in send(client, "/account/password", new=PASSWORD).text, "once"
    send(client, "/sign-in", page="/sign-in", name="ann", password=OTHER)
    told = client.get("/account").text
    assert "Your password was set on" in told
    assert "one-time link that was made by ann" in told
    assert "1\N{NO-BREAK SPACE}token ended" in told


def test_an_administrator_ends_the_tokens_of_one_person_and_their_access_stays(app):
    client, clerk = come_in(app, "ann"), come_in(app, "cle")
    robot, own = token_of(app, clerk, "records.export"), token_of(app, client)
    assert "End 1\N{NO-BREAK SPACE}token" in client.get("/people").text
    assert send(client, "/people/tokens", page="/people", name="cle").status_code == 303
    assert robot.get("/api/v1/verify").status_code == 401
    assert own.get("/api/v1/verify").status_code == 200
    assert clerk.get("/account").status_code == 200


def test_who_came_by_password_gives_it_again_before_changing_what_lets_in(app):
    client = browser(app)
    sign_in(client)
    for path in ("/account/password", "/account/authenticator"):
        answer = send(client, path, new=OTHER, present="wrong")
        assert answer.status_code == 409
        assert "present password is wrong" in answer.text
    assert sign_in(browser(app)).status_code == 303
    assert send(client, "/account/password", new=OTHER, present=PASSWORD).status_code == 303
    assert sign_in(browser(app)).status_code == 401


def test_a_guessed_present_password_runs_out_of_attempts(app):
    client = browser(app)
    sign_in(client)
    tried = [send(client, "/account/password", new=OTHER, present="wrong").status_code for _ in range(11)]
    assert tried == [409] * 10 + [429]


def test_an_authenticator_is_added_used_and_taken_away(app):
    client = come_in(app, "ann")
    code = pyotp.TOTP(shown_once(send(client, "/account/authenticator", present=PASSWORD)))
    assert sign_in(browser(app)).status_code == 303, "it does not count before it is confirmed"
    assert send(client, "/account/authenticator/confirm", code="000000").status_code == 409
    # The code of the step before, in good time before this one ends.
    while now().timestamp() % 30 > 25:
        time.sleep(0.2)
    before = code.at(now() - dt.timedelta(seconds=30))
    assert send(client, "/account/authenticator/confirm", code=before).status_code == 303
    assert sign_in(browser(app)).status_code == 401
    assert sign_in(browser(app), code=code.now()).status_code == 303
    answer = send(client, "/account/authenticator/remove", present=PASSWORD, code="000000")
    assert "code does not fit" in answer.text
    assert sign_in(browser(app)).status_code == 401


def test_a_token_is_shown_once_works_and_can_be_ended(app):
    client = come_in(app, "ann")
    answer = send(client, "/account/tokens", label="robot", scope="log.verify", days="30")
    secret = shown_once(answer)
    robot = TestClient(app, headers={"Authorization": f"Bearer {secret}"})
    assert robot.get("/api/v1/verify").status_code == 200
    page = client.get("/account").text
    assert secret not in page
    assert "robot" in page
    name = page.partition('name="name" value="')[2][:12]
    assert send(client, "/account/tokens/end", name=name).status_code == 303
    assert robot.get("/api/v1/verify").status_code == 401


@pytest.mark.parametrize("scope", ["people.manage", "own.account", "anybody", "money.read", "nonsense"])
def test_a_clerk_makes_no_token_that_does_more_than_a_clerk(app, scope):
    answer = send(come_in(app, "cle"), "/account/tokens", label="x", scope=scope, days="1")
    assert answer.status_code == 409
    assert "may not do" in answer.text


def test_a_token_does_not_survive_a_change_of_role(app):
    secret = shown_once(send(come_in(app, "ann"), "/account/tokens", label="x", scope="log.verify", days="1"))
    with app.state.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE person SET role = 'clerk' WHERE name = 'ann'")
    robot = TestClient(app, headers={"Authorization": f"Bearer {secret}"})
    assert robot.get("/api/v1/verify").status_code == 403


def test_other_sessions_can_be_ended(app):
    client, elsewhere = come_in(app, "cle"), come_in(app, "cle")
    assert send(client, "/account/sessions/end").status_code == 303
    assert (client.get("/account").status_code, elsewhere.get("/account").status_code) == (200, 401)


def test_an_administrator_adds_somebody_and_hands_over_the_link(app):
    answer = send(come_in(app, "ann"), "/people", page="/people", name="new hand", role="clerk")
    link = shown_once(answer)
    client = browser(app)
    assert client.get(link).status_code == 303
    assert "new hand" in client.get("/account").text
    assert client.get("/people").status_code == 403


def test_an_administrator_gives_a_new_link_signs_out_and_ends_access(app):
    client, clerk = come_in(app, "ann"), come_in(app, "cle")
    assert "/enter/" in shown_once(send(client, "/people/link", page="/people", name="cle"))
    assert send(client, "/people/sign-out", page="/people", name="cle").status_code == 303
    assert clerk.get("/account").status_code == 401
    with Session(app.state.engine) as session:
        assert list_sessions(session, "cle", now=now()) == ()
    clerk = come_in(app, "cle")
    assert send(client, "/people/end", page="/people", name="cle").status_code == 303
    assert clerk.get("/account").status_code == 401
    assert "ended" in client.get("/people").text


def test_nobody_ends_their_own_access_or_the_last_administrator(app):
    answer = send(come_in(app, "ann"), "/people/end", page="/people", name="ann")
    assert answer.status_code == 409
    assert "cannot end your own" in answer.text


def test_a_name_is_shown_as_text_whatever_it_is(app):
    risky = '<b onclick="x">&'
    send(come_in(app, "ann"), "/people", page="/people", name=risky, role="reader")
    assert risky not in come_in(app, "ann").get("/people").text
