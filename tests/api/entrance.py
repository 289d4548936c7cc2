"""A small ledger with people in it, and browsers that come in; nothing of it is shared with another test."""

import datetime as dt
import re
from functools import cache

from argon2 import PasswordHasher
from fastapi.testclient import TestClient

from api.app import make_app
from api.settings import Settings
from db.people import add_person, issue_link
from db.records.people import PersonPassword
from db.session import Session, open_engine
from tests.api.one_app import app_on

PASSWORD = "wheel under seven lamps"
ORIGIN = {"Origin": "http://testserver"}


def now():
    return dt.datetime.now(dt.UTC)


@cache
def digest():
    """Made once: it is meant to take time."""
    return PasswordHasher().hash(PASSWORD)


def make_entrance(url, **settings):
    """
    An application on a ledger with ann the administrator, who has a password, and cle the clerk, who has none.

    With settings it is one of its own, else the one that the tests share.
    """
    engine = open_engine(url)
    with Session(engine) as session:
        add_person(session, "ann", "administrator", now=now())
        add_person(session, "cle", "clerk", now=now())
        session.add(PersonPassword(person="ann", hash=digest(), set_at=""))
        session.commit()
    engine.dispose()
    if not settings:
        return app_on(url)
    return make_app(Settings(db=url, **{"secure_cookie": False} | settings))


def browser(app, **more):
    return TestClient(app, headers=ORIGIN, follow_redirects=False, **more)


def link_for(app, name):
    with Session(app.state.engine) as session:
        secret = issue_link(session, name, now=now())
        session.commit()
    return f"/enter/{secret}"


def sign_in(client, name="ann", password=PASSWORD, code=""):
    return client.post("/sign-in", data={"name": name, "password": password, "code": code})


def token_on(answer):
    return re.search(r'name="form_token" value="(\w*)"', answer.text).group(1)


def send(client, path, page="/account", **fields):
    """Send a form as its page holds it: with the token that stands in it."""
    return client.post(path, data={"form_token": token_on(client.get(page)), **fields})
