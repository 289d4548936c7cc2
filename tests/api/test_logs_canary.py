"""A canary through every route that takes something in: what is entered and what lets somebody in is never logged."""

import json
import logging
import re

import pytest
from fastapi.testclient import TestClient

from api import logs
from api.form_guard import FIELD, HEADER
from db.files import ENTERED
from tests.api.entrance import ORIGIN, link_for, make_entrance, token_on
from tests.api.route_table import TABLE

SERIAL, PIN, PASSWORD = "CANARY-7193", "17.193", "canary sings at seven"
FIELDS = {
    **{column.name: SERIAL for file in ENTERED.values() for column in file.columns},
    **dict.fromkeys(("pin_1", "value_pin_1", "total", "cell", "value"), PIN),
    **dict.fromkeys(("password", "new", "again", "code", "secret", "key"), PASSWORD),
    **dict.fromkeys(("name", "label", "note", "reason", "serial", "text", "q"), SERIAL),
}
ROUTES = sorted(
    (method, path)
    for method, path in TABLE
    if method in ("POST", "PATCH", "DELETE", "PUT") and path != "/sign-out"
)
LINE = logs.JsonLines()
# Of other libraries only warnings reach the log of the service.
OURS = ("pinledger", "uvicorn")


def ways(method, path, token):
    """The same canaries as a form, as JSON, as a row of JSON, and as a file, with the canary in the address too."""
    address = re.sub(r"\{\w+\}", SERIAL, path)
    given = {"method": method, "url": address, "params": {"serial": SERIAL, "q": PIN}}
    head = {**ORIGIN, HEADER: token, "Idempotency-Key": f"{SERIAL}-{path}", "If-Match": f'"{SERIAL}"'}
    form = {**FIELDS, FIELD: token, "write_key": f"{SERIAL} {path}"}
    file = ("serial,pin_1\n" + f"{SERIAL},{PIN}\n").encode()
    yield {**given, "headers": head, "data": form}
    yield {**given, "headers": head, "json": FIELDS}
    yield {**given, "headers": head, "json": {"rows": [FIELDS], "values": FIELDS, "reason": SERIAL}}
    yield {**given, "headers": head, "data": form, "files": {"file": (f"{SERIAL}.csv", file, "text/csv")}}


@pytest.fixture
def logged(caplog):
    """All that the service would have logged so far."""

    def read():
        told = [
            each for each in caplog.records if each.name.startswith(OURS) or each.levelno >= logging.WARNING
        ]
        return [line for each in told if not each.name.startswith("httpx") for line in (LINE.format(each),)]

    caplog.set_level(logging.DEBUG)
    return read


def test_no_route_logs_what_it_is_given(sqlite_url, logged):
    app = make_entrance(sqlite_url)
    client = TestClient(app, follow_redirects=False, raise_server_exceptions=False)
    client.get(link_for(app, "ann"))
    token = token_on(client.get("/account"))
    for method, path in ROUTES:
        before = len(logged())
        statuses = [client.request(**way).status_code for way in ways(method, path, token)]
        lines = logged()[before:]
        assert len(lines) >= len(statuses), path
        assert max(statuses) < 500, (method, path, statuses)
        found = [line for line in lines for canary in (SERIAL, PIN, PASSWORD) if canary in line]
        assert found == [], (method, path)
        assert {json.loads(line)["logger"] for line in lines} >= {"pinledger"}


def test_no_reading_of_a_page_is_logged(sqlite_url, logged):
    app = make_entrance(sqlite_url)
    client = TestClient(app, headers=ORIGIN, follow_redirects=False, raise_server_exceptions=False)
    client.get(link_for(app, "ann"))
    for _, path in sorted(each for each in TABLE if each[0] == "GET"):
        answer = client.get(
            re.sub(r"\{\w+\}", SERIAL, path), params={"serial": SERIAL, "on": PIN, "type": SERIAL}
        )
        assert answer.status_code < 500 or path == "/ready", (path, answer.text[:200])
    assert [line for line in logged() if SERIAL in line or PIN in line] == []
