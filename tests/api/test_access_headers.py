"""Headers of every kind of answer."""

import pytest

from api.security import HEADERS
from tests.api.entrance import browser, link_for, make_entrance

KINDS = {
    "page": "/account",
    "sign in": "/sign-in",
    "refusal": "/people",
    "nothing there": "/nothing",
    "JSON": "/api/v1/openapi.json",
    "refused JSON": "/api/v1/verify?on=x",
    "file": "/static/ledger.css",
    "fault": "/fault",
}


def fault():
    raise RuntimeError("12.4 mm on S-100")


@pytest.fixture(scope="module")
def client(sqlite_copies):
    with sqlite_copies("headers") as url:
        app = make_entrance(url, metrics=False)  # of its own, as it gets a route
        app.add_api_route("/fault", fault)
        client = browser(app, raise_server_exceptions=False)
        client.get(link_for(app, "cle"))
        yield client


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", HEADERS)
def test_every_answer_carries_the_header(client, kind, name):
    assert client.get(KINDS[kind]).headers[name] == HEADERS[name]


def directives(client):
    told = client.get("/sign-in").headers["content-security-policy"]
    return {name: rest for name, _, rest in (each.strip().partition(" ") for each in told.split(";"))}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("default-src", "'none'"),
        ("script-src", "'self'"),
        ("style-src", "'self'"),
        ("object-src", "'none'"),
        ("base-uri", "'none'"),
        ("form-action", "'self'"),
        ("frame-ancestors", "'none'"),
    ],
)
def test_the_policy_says(client, name, value):
    assert directives(client)[name] == value


def test_the_policy_allows_nothing_inline_and_no_eval(client):
    assert not any("unsafe" in value or "*" in value for value in directives(client).values())


def test_no_page_is_kept_and_files_of_the_program_are(client):
    for kind in KINDS.keys() - {"file"}:
        assert client.get(KINDS[kind]).headers["cache-control"] == "no-store", kind
    assert "no-store" not in client.get("/static/ledger.css").headers.get("cache-control", "")


def test_devices_are_closed_to_the_pages(client):
    told = client.get("/sign-in").headers["permissions-policy"]
    assert {"camera=()", "geolocation=()", "microphone=()", "usb=()"} <= set(told.split(", "))


def test_browsers_are_held_to_tls_where_there_is_tls_alone(client, sqlite_copies):
    assert "strict-transport-security" not in client.get("/sign-in").headers
    with sqlite_copies("tls") as url:
        secured = browser(make_entrance(url, secure_cookie=True)).get("/sign-in").headers
        assert secured["strict-transport-security"] == "max-age=31536000; includeSubDomains"


def test_no_other_origin_is_let_read(client):
    answer = client.get("/account", headers={"Origin": "http://other.example"})
    assert not any(name.startswith("access-control") for name in answer.headers)


@pytest.mark.parametrize("method", ["TRACE", "PUT", "DELETE", "PATCH", "OPTIONS"])
def test_methods_that_nothing_uses_are_refused(client, method):
    assert client.request(method, "/account").status_code == 405


def test_no_folder_is_listed_and_nothing_above_it_is_served(client):
    for path in ("/static/", "/static/../app.py", "/static/%2e%2e/app.py", "/static/.git/config"):
        assert client.get(path).status_code == 404, path


def test_a_fault_tells_nothing_of_the_inside(client):
    answer = client.get("/fault")
    assert answer.status_code == 500
    assert answer.headers["x-request-id"] in answer.text
    assert not any(word in answer.text for word in ("12.4", "S-100", "RuntimeError", "Traceback", ".py"))
