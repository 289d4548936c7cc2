"""Clients that have been let in, on a small fleet in a real database."""

import datetime as dt

import pytest
from fastapi.testclient import TestClient

from api.app import make_app
from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.form_guard import HEADER
from api.settings import Settings
from db.people import add_person
from db.session import Session, open_engine
from db.sessions import begin_session
from tests.api.shown_fleet import make_shown_fleet

ORIGIN = {"Origin": "http://testserver"}


@pytest.fixture(scope="session")
def shown_url(tmp_path_factory):
    url = f"sqlite:///{tmp_path_factory.mktemp('shown') / 'shown.db'}"
    make_shown_fleet(url)
    return url


@pytest.fixture(scope="session")
def shown_app(shown_url):
    return make_app(Settings(db=shown_url, secure_cookie=False))


@pytest.fixture(scope="session")
def client_of(shown_url, shown_app):
    """A client in the name of a person, made on first use; their forms carry the session's token."""
    clients = {}

    def client(name, role, *bases):
        if name not in clients:
            now = dt.datetime.now(dt.UTC)
            with Session(open_engine(shown_url)) as session:
                add_person(session, name, role, now=now, bases=bases)
                secret = begin_session(session, name, by="password", now=now)
                session.commit()
            headers = {**ORIGIN, HEADER: form_token_of(secret)}
            clients[name] = TestClient(shown_app, cookies={PLAIN_COOKIE: secret}, headers=headers)
        return clients[name]

    return client


@pytest.fixture(scope="session")
def shown_client(client_of):
    return client_of("ann", "administrator")
