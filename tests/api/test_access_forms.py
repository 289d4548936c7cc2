"""Forms from elsewhere change nothing: Origin or Sec-Fetch-Site, and the token of the session."""

import pytest
from fastapi.testclient import TestClient

from api.pages.frame import TEMPLATES
from db import tokens
from db.session import Session
from tests.api.entrance import browser, link_for, make_entrance, now, token_on

OURS = "http://testserver"


@pytest.fixture
def app(sqlite_url):
    return make_entrance(sqlite_url)


@pytest.fixture
def client(app):
    client = TestClient(app, follow_redirects=False)
    client.get(link_for(app, "cle"))
    return client


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": OURS}, 303),
        ({"Sec-Fetch-Site": "same-origin"}, 303),
        ({"Sec-Fetch-Site": "same-origin", "Origin": OURS}, 303),
        ({}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://testserver.example"}, 403),
        ({"Origin": "http://testserver:8080"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Sec-Fetch-Site": "none"}, 403),
        ({"Sec-Fetch-Site": "cross-site", "Origin": OURS}, 403),
        ({"Sec-Fetch-Site": "same-origin", "Origin": "http://other.example"}, 403),
    ],
)
def test_a_form_must_come_from_our_own_page(client, headers, status):
    token = token_on(client.get("/account"))
    answer = client.post("/sign-out", data={"form_token": token}, headers=headers)
    assert answer.status_code == status
    assert client.get("/account").status_code == (401 if status == 303 else 200)


def test_the_form_to_sign_in_must_come_from_our_own_page_too(app):
    answer = TestClient(app).post(
        "/sign-in", data={"name": "ann"}, headers={"Origin": "http://other.example"}
    )
    assert answer.status_code == 403


@pytest.mark.parametrize("token", [None, "", "0" * 64, "é"])
def test_a_form_without_the_token_of_its_session_is_refused(client, token):
    fields = {} if token is None else {"form_token": token}
    answer = client.post("/sign-out", data=fields, headers={"Origin": OURS})
    assert answer.status_code == 403
    assert "token of your session" in answer.text
    assert client.get("/account").status_code == 200


def test_the_token_of_another_session_does_not_fit(app, client):
    other = browser(app)
    other.get(link_for(app, "ann"))
    token = token_on(other.get("/account"))
    assert client.post("/sign-out", data={"form_token": token}, headers={"Origin": OURS}).status_code == 403


def test_a_script_may_send_the_token_in_a_header(client):
    headers = {"Origin": OURS, "X-Form-Token": token_on(client.get("/account"))}
    assert client.post("/sign-out", json={}, headers=headers).status_code == 303


def test_the_token_does_not_tell_the_secret(client):
    assert client.cookies["pinledger"] not in client.get("/account").text


def test_every_form_that_changes_something_carries_the_token():
    for template in TEMPLATES.glob("*.html"):
        text = template.read_text(encoding="utf-8")
        posts = text.count('method="post"')
        assert text.count("{{ form_token() }}") == posts, f"{template.name}: {posts} forms that are posted"


def test_a_bearer_of_a_token_is_no_browser_and_sees_no_page(app):
    with Session(app.state.engine) as session:
        made = tokens.issue_token(
            session, "ann", label="x", scope=("log.verify",), bases=(), days=1, now=now()
        )
        session.commit()
    client = TestClient(app, headers={"Authorization": f"Bearer {made}"}, follow_redirects=False)
    assert client.get("/api/v1/verify").status_code == 200
    assert client.get("/api/v1/refit").status_code == 403, "outside the scope of the token"
    assert client.get("/").status_code == 401
    assert client.get("/account").status_code == 401


@pytest.mark.parametrize("bearer", ["Bearer nonsense", "Bearer ", "Basic YW5uOmFubg==", "nonsense"])
def test_a_wrong_token_is_refused_even_beside_an_open_session(app, bearer):
    client = browser(app)
    client.get(link_for(app, "ann"))
    answer = client.get("/api/v1/verify", headers={"Authorization": bearer})
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
