"""Approval by JSON: a planner enters, another approves, neither alone, and a clerk not at all."""

import uuid

import pytest
from fastapi.testclient import TestClient

from db.people import add_person
from db.session import Session
from db.tokens import issue_token
from tests.api.entrance import make_entrance, now

SCOPE = ("assumptions.write", "assumptions.approve", "brakes.read", "records.read")
ROW = {"name": "lead_time_days", "value": "30", "unit": "d", "source": "letter", "dated": "2026-05-02"}


@pytest.fixture
def bearer(sqlite_url):
    app = make_entrance(sqlite_url)
    with Session(app.state.engine) as session:
        add_person(session, "pia", "planner", now=now())
        add_person(session, "pol", "planner", now=now())
        secrets = {
            name: issue_token(session, name, label="x", scope=SCOPE, bases=(), days=1, now=now())
            for name in ("pia", "pol", "cle")
        }
        session.commit()
    return lambda name: TestClient(app, headers={"Authorization": f"Bearer {secrets[name]}"})


def approve(client, number, tag):
    headers = {"Idempotency-Key": str(uuid.uuid4()), "If-Match": tag}
    return client.post(f"/api/v1/records/{number}/approval", headers=headers)


def test_another_planner_approves_and_the_first_does_not(bearer):
    key = {"Idempotency-Key": str(uuid.uuid4())}
    entered = bearer("pia").post("/api/v1/assumptions", json=ROW, headers=key)
    assert entered.status_code == 201, entered.text
    tag = bearer("pia").get("/api/v1/records/1").headers["etag"]
    assert approve(bearer("cle"), 1, tag).status_code == 403
    own = approve(bearer("pia"), 1, tag)
    assert own.status_code == 422
    assert "who cannot approve it" in own.text
    approved = approve(bearer("pol"), 1, tag)
    assert approved.status_code == 200, approved.text
    assert approved.headers["etag"] != tag
    assert approve(bearer("pol"), 1, tag).status_code == 412
