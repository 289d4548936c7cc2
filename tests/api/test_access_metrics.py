"""Measurements for Prometheus: read by a token of that scope, and without an address or a name in them."""

import pytest
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families

from db import tokens
from db.session import Session
from tests.api.entrance import browser, link_for, make_entrance, now


@pytest.fixture
def app(sqlite_url):
    return make_entrance(sqlite_url, metrics=True)


@pytest.fixture
def scraper(app):
    with Session(app.state.engine) as session:
        secret = tokens.issue_token(
            session, "ann", label="x", scope=("service.measure",), bases=(), days=1, now=now()
        )
        session.commit()
    return TestClient(app, headers={"Authorization": f"Bearer {secret}"})


def measured(scraper):
    answer = scraper.get("/metrics")
    assert answer.status_code == 200
    families = text_string_to_metric_families(answer.text)
    return {
        (sample.name, *sample.labels.values()): sample.value
        for family in families
        for sample in family.samples
    }


def test_answers_are_counted_by_route_and_status(app, scraper):
    client = browser(app)
    for _ in range(3):
        client.get("/account")
    client.get("/api/v1/cost")
    client.get(link_for(app, "cle"))
    client.get("/account")
    found = measured(scraper)
    assert found["pinledger_answers_total", "GET", "/account", "401"] == 3
    assert found["pinledger_answers_total", "GET", "/account", "200"] == 1
    assert found["pinledger_answer_seconds_count", "/account"] == 4
    assert found["pinledger_answers_total", "GET", "/api/v1/cost", "401"] == 1
    assert found["pinledger_answers_total", "GET", "/enter/{secret}", "303"] == 1


def test_no_address_as_asked_is_told(app, scraper):
    browser(app).get("/nothing/12.437?serial=S-1")
    browser(app).get(link := link_for(app, "cle"))
    told = scraper.get("/metrics").text
    assert not any(each in told for each in ("12.437", "S-1", link.rpartition("/")[2], "cle"))


def test_a_clerk_does_not_read_them_and_nobody_does(app):
    client = browser(app)
    assert client.get("/metrics").status_code == 401
    client.get(link_for(app, "cle"))
    assert client.get("/metrics").status_code == 403


def test_nothing_is_measured_unless_it_is_asked_for(sqlite_url):
    client = browser(make_entrance(sqlite_url))
    client.get(link_for(client.app, "ann"))
    assert client.get("/metrics").status_code == 404
