"""People on the command line: the first administrator, links, the end of access."""

import json
import re

import pytest

from api import cli
from api.app import make_app
from api.settings import Settings
from db import authenticators
from db.schema import migrate
from db.session import Session, open_engine
from tests.api.entrance import browser, now


@pytest.fixture
def run(tmp_path, capsys):
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    migrate(url)

    def run(*words):
        status = cli.main(["person", *words, "--db", url])
        return status, capsys.readouterr()

    run.url = url
    return run


def test_the_first_administrator_comes_in_by_the_printed_link(run):
    status, said = run("add", "ann", "--role", "administrator", "--address", "http://testserver/")
    assert status == 0
    assert re.fullmatch(r"http://testserver/enter/[\w-]{43}\n", said.out)
    client = browser(make_app(Settings(db=run.url, secure_cookie=False)))
    assert client.get(said.out.strip()).status_code == 303
    assert client.get("/people").status_code == 200


def test_a_new_link_a_list_and_the_end_of_access(run):
    run("add", "ann", "--role", "administrator")
    run("add", "bob", "--role", "administrator")
    assert run("link", "bob")[0] == 0
    assert run("end", "bob")[0] == 0
    listed = json.loads(run("list", "--format", "json")[1].out)
    assert [(each["name"], bool(each["ended_at"])) for each in listed] == [("ann", False), ("bob", True)]
    status, said = run("link", "bob")
    assert status == 1
    assert "has no access here" in said.err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("end", "ann"), "only administrator"),
        (("add", "ann", "--role", "clerk"), "known already"),
        (("add", "cle", "--role", "clerk", "--base", "Mars"), "no base 'Mars'"),
    ],
)
def test_what_the_ledger_refuses_is_refused_here(run, words, told):
    run("add", "ann", "--role", "administrator")
    status, said = run(*words)
    assert status == 1
    assert told in said.err


def test_a_lost_authenticator_is_taken_away_here(run):
    run("add", "ann", "--role", "administrator")
    engine = open_engine(run.url)
    with Session(engine) as session:
        authenticators.begin_authenticator(session, "ann", now=now())
        session.get(authenticators.PersonAuthenticator, "ann").confirmed = True
        session.commit()
    run("link", "ann")
    with Session(engine) as session:
        assert authenticators.has_authenticator(session, "ann")
    run("link", "ann", "--lost-authenticator")
    with Session(engine) as session:
        assert not authenticators.has_authenticator(session, "ann")
    engine.dispose()
