"""Who may do what, where: every route with every role, at every kind of base, and with nobody."""

import re

import pytest
from fastapi import APIRouter, FastAPI
from fastapi.testclient import TestClient

from api import access, metrics
from api.access import ACTIONS, UndeclaredRouteError, allowed, declared, need
from api.refusals import NOT_THERE
from db.sessions import LetIn
from tests.api.client_at import token_for
from tests.api.conftest import ORIGIN
from tests.api.route_table import TABLE

ROLES = {"C": "clerk", "P": "planner", "R": "reader", "A": "administrator"}
# A day that is none: the request is refused by the study, after it was let through, and nothing is computed.
PROBE = {"on": "no day", "known_on": "no day"}
# This one ends the session with which the others are asked.
DOORS = {("POST", "/sign-out")}


def ask(client, method, path, base=""):
    """The answer to a request that goes no further than it must."""
    address = re.sub(r"\{\w+\}", "none", path)
    query = PROBE | ({"base": base} if base else {})
    return client.request(method, address, params=query, follow_redirects=False)


def refused_by_access(answer):
    """401, 403, 404 or the way to one's own base, where access refused; None where it let through."""
    if answer.status_code in (401, 403):
        return answer.status_code
    if answer.status_code == 404 and NOT_THERE.detail in answer.text.lower():
        return 404
    return 303 if answer.status_code == 303 and "base=" in answer.headers["location"] else None


def wanted(method, path, letter, bases, base):
    roles, reach = TABLE[method, path]
    if roles == "anybody":
        return None
    if letter not in roles:
        return 403
    if not bases or reach == "own" or (reach == "rows" and base in ("", *bases)):
        return None
    if reach == "base" and not base and method == "GET" and not path.startswith("/api/"):
        return 303
    return None if reach == "base" and base in bases else 404


def test_every_route_stands_in_the_table_and_nothing_else(shown_app):
    assert {(method, path) for method, path, _ in declared(shown_app)} == set(TABLE)


@pytest.mark.parametrize("bases", [(), ("Home",)], ids=["every base", "one base"])
@pytest.mark.parametrize("letter", ROLES)
def test_every_route_lets_through_whom_the_table_says(client_of, letter, bases):
    client = client_of(f"walker {letter} {len(bases)}", ROLES[letter], *bases)
    for method, path in TABLE.keys() - DOORS:
        for base in ("", "Home", "Away"):
            answer = ask(client, method, path, base)
            found = refused_by_access(answer)
            if TABLE[method, path][0] == "anybody" and method == "POST":
                found = None if found == 401 else found  # a wrong password is no refusal of the route
            assert found == wanted(method, path, letter, bases, base), (method, path, base, answer.text[:300])


def test_nobody_is_let_in_but_where_anybody_is(shown_app):
    nobody = TestClient(shown_app, headers=ORIGIN)
    for (method, path), (roles, _) in TABLE.items():
        for base in ("", "Home"):
            answer = ask(nobody, method, path, base)
            if roles == "anybody":
                assert "Nobody is known" not in answer.text
                assert answer.status_code != 401 or method == "POST", path
                assert answer.status_code < 500, path
            else:
                assert answer.status_code == 401, (method, path)


def test_a_person_of_one_base_is_led_to_it(client_of):
    answer = client_of("walker C 1", "clerk", "Home").get("/changeouts?risk=0.25", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"].endswith("/changeouts?risk=0.25&base=Home")


def test_a_person_of_one_base_sees_its_brakes_and_those_of_no_base(client_of):
    client = client_of("walker C 1", "clerk", "Home")
    assert client.get("/brake?serial=LOW-1").status_code == 200
    assert client.get("/brake?serial=OFF-1").status_code == 200
    elsewhere, nowhere = client.get("/brake?serial=C-3"), client.get("/brake?serial=X-3")
    assert (elsewhere.status_code, nowhere.status_code) == (404, 404)
    assert elsewhere.text.replace("C-3", "X-3") == nowhere.text
    assert "C-3" not in re.sub(r"value=\"[^\"]*\"|ends in C-3", "", client.get("/brakes?serial=C-3").text)
    found = [each.get("/brakes?serial=TWIN").text for each in (client_of("ann", "administrator"), client)]
    assert [text.count('href="/brake?') for text in found] == [2, 1]


@pytest.mark.parametrize("path", ["/changeouts?format=csv&base=Home", "/spares?format=csv&base=Home"])
def test_a_table_of_one_base_holds_no_other(client_of, path):
    told = client_of("walker C 1", "clerk", "Home").get(path).text
    assert "Home" in told
    assert "Away" not in told


def test_json_of_one_base_holds_no_other(client_of):
    client = client_of("walker C 1", "clerk", "Home")
    for path in ("changeouts", "spares"):
        assert {row["base"] for row in client.get(f"/api/v1/{path}?base=Home").json()} == {"Home"}


def test_a_second_base_in_the_query_does_not_slip_past(client_of):
    client = client_of("walker C 1", "clerk", "Home")
    assert client.get("/changeouts?base=Home&base=Away").status_code == 404
    assert client.get("/changeouts?base=Away&base=Home").status_code == 404


def test_the_menu_offers_what_may_be_opened(client_of):
    clerk = client_of("walker C 0", "clerk").get("/").text
    assert 'href="/cost"' not in clerk
    assert 'href="/cost"' in client_of("ann", "administrator").get("/").text
    assert '<option value="">' not in client_of("walker C 1", "clerk", "Home").get("/").text


def test_what_is_not_in_the_table_of_actions_is_not_allowed():
    person = LetIn("ann", "administrator", (), stale=False)
    assert not allowed(person, "records.burn")
    assert not allowed(None, "records.read")
    assert not allowed(LetIn("ann", "owner", (), stale=False), "records.read")
    with pytest.raises(UndeclaredRouteError, match=r"records\.burn"):
        need("records.burn")


@pytest.mark.parametrize(
    "action", [each for each in ACTIONS if each not in (access.ANYBODY, access.DESCRIPTION)]
)
def test_a_token_does_no_more_than_its_scope(action):
    person = LetIn("ann", "administrator", (), stale=False, scope=(action,))
    may = {each for each in ACTIONS if allowed(person, each)}
    assert may == {access.ANYBODY, access.DESCRIPTION, action}


def test_the_description_of_the_interface_is_for_any_token_and_for_nobody_unknown(shown_app, shown_url):
    token = token_for(shown_url, "describer", "reader", ("log.verify",))
    told = TestClient(shown_app, headers={"Authorization": f"Bearer {token}"}).get("/api/v1/openapi.json")
    assert told.status_code == 200
    assert "/api/v1/changeouts" in told.json()["paths"]
    assert TestClient(shown_app).get("/api/v1/openapi.json").status_code == 401


def test_a_route_that_declares_no_action_stops_the_start():
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    app.add_api_route("/bare", lambda: "open")
    with pytest.raises(UndeclaredRouteError, match="/bare declares 0 actions"):
        list(declared(app))


def test_a_route_that_declares_two_actions_stops_the_start():
    router = APIRouter(dependencies=[need("records.read")])
    router.add_api_route("/both", lambda: "open", dependencies=[need("money.read")])
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    app.include_router(router)
    with pytest.raises(UndeclaredRouteError, match="/both declares 2 actions"):
        list(declared(app))


def test_a_route_of_another_framework_stops_the_start():
    app = FastAPI()  # its own description and manual pages are routes that declare nothing
    with pytest.raises(UndeclaredRouteError, match="declares 0 actions"):
        list(declared(app))


def test_every_declared_action_is_that_of_a_route(shown_app):
    measured = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    measured.include_router(metrics.router)  # an extra, which is not served otherwise
    used = {action for app in (shown_app, measured) for _, _, action in declared(app)}
    assert set(ACTIONS) - used == set()
