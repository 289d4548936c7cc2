"""A ledger whose file is damaged, or is none, is refused in words; nothing foreign is written over."""

import shutil
import sqlite3
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from api import cli
from api.app import make_app
from api.settings import Settings
from db.errors import BrokenChainError, SchemaError
from db.outage import DAMAGED, outage_of
from db.schema import migrate
from db.session import Session, open_engine
from db.verify import verify

DAMAGE = DAMAGED.partition(" (")[0]


@pytest.fixture
def file(shown_url, tmp_path):
    """A copy of a ledger, to be damaged."""
    return Path(shutil.copy(shown_url.removeprefix("sqlite:///"), tmp_path / "fleet.db"))


def told(capsys, *words):
    """Exit status and the refusal of a command."""
    status = cli.main(list(words))
    return status, capsys.readouterr().err


def first_page_of(file, name):
    ledger = sqlite3.connect(file)
    size, page = (
        ledger.execute(asked).fetchone()[0]
        for asked in ("PRAGMA page_size", f"SELECT rootpage FROM sqlite_master WHERE name = '{name}'")
    )
    ledger.close()
    return size * (page - 1)


@pytest.mark.parametrize("page", ["change", "ix_landing_seq", "sheet"])
def test_a_page_written_over_is_told_whatever_it_held(file, page, capsys):
    at = first_page_of(file, page)
    held = file.read_bytes()
    file.write_bytes(held[:at] + bytes(200) + held[at + 200 :])
    status, refusal = told(capsys, "verify", "--rebuild", "--db", f"sqlite:///{file}")
    assert status == 1
    assert DAMAGE in refusal
    assert "pinledger restore" in refusal


@pytest.mark.parametrize("command", ["verify", "migrate"])
def test_a_file_that_is_no_database_is_told(tmp_path, command, capsys):
    (tmp_path / "notes.txt").write_text("Landings of March\n" * 100)
    status, refusal = told(capsys, command, "--db", f"sqlite:///{tmp_path / 'notes.txt'}")
    assert (status, DAMAGE in refusal) == (1, True)
    assert (tmp_path / "notes.txt").read_text().startswith("Landings")


def test_the_service_answers_in_words_while_its_file_is_damaged(file, shown_client):
    client = TestClient(
        make_app(Settings(db=f"sqlite:///{file}", secure_cookie=False)),
        cookies=shown_client.cookies,
        headers=shown_client.headers,
    )
    at, held = first_page_of(file, "landing"), file.read_bytes()
    file.write_bytes(held[:at] + bytes(200) + held[at + 200 :])
    answer = client.get("/api/v1/verify", params={"rebuild": True})
    assert (answer.status_code, answer.json()["title"]) == (503, "The database is damaged")


def test_a_file_of_something_else_is_left_as_it_is(tmp_path, capsys):
    foreign = tmp_path / "people.db"
    other = sqlite3.connect(foreign)
    other.execute("CREATE TABLE person (a)")
    other.commit()
    other.close()
    before = foreign.read_bytes()
    status, refusal = told(capsys, "migrate", "--db", f"sqlite:///{foreign}")
    assert status == 1
    assert "is no ledger and holds tables already (person)" in refusal
    assert foreign.read_bytes() == before


def test_a_server_may_hold_tables_of_other_names_but_not_of_the_ledgers(postgresql_url):
    engine = open_engine(postgresql_url)
    with engine.begin() as connection:
        connection.execute(text("DROP SCHEMA public CASCADE"))
        connection.execute(text("CREATE SCHEMA public"))
        connection.execute(text("CREATE TABLE person (a int)"))
    with pytest.raises(SchemaError, match=r"holds tables already \(person\)"):
        migrate(postgresql_url)
    with engine.begin() as connection:
        connection.execute(text("ALTER TABLE person RENAME TO personnel"))
    engine.dispose()
    migrate(postgresql_url)


def test_a_server_that_finds_its_data_corrupted_says_so(postgresql_url):
    engine = open_engine(postgresql_url)
    raised = "DO $$BEGIN RAISE EXCEPTION 'invalid page' USING ERRCODE = 'data_corrupted'; END$$"
    with engine.connect() as connection, pytest.raises(DBAPIError) as caught:
        connection.execute(text(raised))
    engine.dispose()
    assert DAMAGE in str(outage_of(caught.value))


@pytest.mark.parametrize(
    "statement",
    ["UPDATE change SET body = 'text' WHERE seq = 1", "UPDATE base SET known_on = 'a day' WHERE seq = 1"],
)
def test_a_value_of_another_kind_is_a_broken_log(file, statement):
    ledger = sqlite3.connect(file)
    for (name,) in ledger.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        ledger.execute(f"DROP TRIGGER {name}")
    ledger.execute(statement)
    ledger.commit()
    ledger.close()
    engine = open_engine(f"sqlite:///{file}")
    with Session(engine) as session, pytest.raises(BrokenChainError):
        verify(session, rebuild=True)
    engine.dispose()
