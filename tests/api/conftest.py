"""A client that has been let in, on a small fleet in a real database."""

import datetime as dt

import pytest
from fastapi.testclient import TestClient

from api.app import make_app
from api.settings import Settings
from db.people import add_person, issue_link
from db.session import Session, open_engine
from tests.api.shown_fleet import make_shown_fleet


@pytest.fixture(scope="session")
def shown_client(tmp_path_factory):
    folder = tmp_path_factory.mktemp("shown")
    url = f"sqlite:///{folder / 'shown.db'}"
    make_shown_fleet(url, tmp_path_factory.mktemp("files"))
    now = dt.datetime.now(dt.UTC)
    with Session(open_engine(url)) as session:
        add_person(session, "ann", "administrator", now=now)
        secret = issue_link(session, "ann", now=now)
        session.commit()
    with TestClient(make_app(Settings(db=url, secure_cookie=False))) as client:
        client.get(f"/enter/{secret}")
        yield client
