"""A program that writes: a token of its own, a key a write."""

import datetime as dt
import uuid

from fastapi.testclient import TestClient

from db.people import add_person
from db.session import Session, open_engine
from db.tokens import issue_token
from tests.api.one_app import app_on

SCOPE = ("records.read", "records.enter", "records.correct", "brakes.read", "fleet.read", "log.verify")


def token_for(url, name="ann", role="administrator", scope=SCOPE):
    """Add a person and give a token in their name."""
    now = dt.datetime.now(dt.UTC)
    engine = open_engine(url)
    with Session(engine) as session:
        add_person(session, name, role, now=now)
        secret = issue_token(session, name, label="t", scope=scope, bases=(), days=30, now=now)
        session.commit()
    engine.dispose()
    return secret


def program(url, token=None):
    """A client on the application on this ledger; faults are answered as the service answers them."""
    headers = {"Authorization": f"Bearer {token or token_for(url)}"}
    return TestClient(app_on(url), headers=headers, raise_server_exceptions=False)


def landed(day, registration="ZZ-001", stops=3):
    return {"registration": registration, "day": str(day), "full_stops": stops}


def post(client, kind, row, key=None):
    return client.post(f"/api/v1/{kind}", json=row, headers={"Idempotency-Key": key or str(uuid.uuid4())})
