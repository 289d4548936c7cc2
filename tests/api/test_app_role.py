"""On PostgreSQL the application runs as a role that can add facts and change none, whatever it tries."""

import datetime as dt

import psycopg
import pytest
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError

from api import cli
from db import app_role, schema
from db.base import Base
from db.chain import Act
from db.errors import LedgerError
from db.imports import load
from db.people import use_link
from db.records.brakes import Installation
from db.session import Session, open_engine
from db.verify import verify
from tests.api.client_at import landed, post, program, token_for
from tests.conftest import NUMBERS
from tests.db.conftest import TODAY
from tests.db.good_folder import good_folder
from tests.ledger import fleet

FACTS = sorted(app_role.FACTS)


@pytest.fixture(scope="module")
def ledger_urls(postgresql_copies):
    """The addresses of one ledger as its owner and as the application's role."""
    role = f"app_{next(NUMBERS)}"
    with postgresql_copies(f"ledger_{next(NUMBERS)}") as owner:
        engine = open_engine(owner)
        with Session(engine) as session, session.begin():
            fleet(session)
        assert cli.main(["migrate", "--db", owner, "--app-role", role]) == 0
        yield owner, owner.replace("ledger@", f"{role}@", 1)
        with engine.begin() as connection:
            connection.execute(text(f"DROP OWNED BY {role}"))
            connection.execute(text(f"DROP ROLE {role}"))
        engine.dispose()


@pytest.fixture
def app_engine(ledger_urls):
    engine = open_engine(ledger_urls[1])
    yield engine
    engine.dispose()


def refused(engine, statement):
    with engine.connect() as connection, pytest.raises(DBAPIError) as caught:
        connection.execute(text(statement))
    assert isinstance(caught.value.orig, psycopg.errors.InsufficientPrivilege), (statement, caught.value)


@pytest.mark.parametrize("table", FACTS)
def test_no_fact_is_changed_deleted_or_emptied(app_engine, table):
    own = "number" if table == "access_act" else "seq"
    for statement in (
        f"UPDATE {table} SET {own} = {own}",
        f"DELETE FROM {table}",
        f"TRUNCATE {table} CASCADE",
        f"ALTER TABLE {table} ADD COLUMN other text",
        f"ALTER TABLE {table} DISABLE TRIGGER ALL",
        f"DROP TRIGGER {table}_append_only ON {table}",
        f"DROP TABLE {table} CASCADE",
    ):
        refused(app_engine, statement)


@pytest.mark.parametrize(
    "statement",
    [
        "SET session_replication_role = replica",
        "UPDATE alembic_version SET version_num = '9999'",
        "CREATE TABLE other (id int)",
        "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS 'BEGIN RETURN NEW; END'",
        "DROP SCHEMA public CASCADE",
        "SET ROLE ledger",
        "COPY base TO PROGRAM 'true'",
    ],
)
def test_no_guard_is_walked_around(app_engine, statement):
    refused(app_engine, statement)


def test_every_table_can_be_read_and_the_schema_is_checked_as_that_role(app_engine):
    schema.check(app_engine)
    with app_engine.connect() as connection:
        for table in Base.metadata.sorted_tables:
            connection.execute(select(table).limit(1))


def test_a_whole_fleet_is_brought_in_as_that_role(ledger_urls, app_engine, tmp_path):
    folder = good_folder(tmp_path / "good")
    with Session(app_engine) as session:
        loaded = load(session, folder, Act("ann", "import", "import records"), approved=True, today=TODAY)
        session.commit()
    assert sum(file.added for file in loaded.files) > 20
    with Session(app_engine) as session:
        verify(session, rebuild=True)
        assert session.scalars(select(Installation.id)).all()


def test_entering_correcting_and_withdrawing_work_as_that_role(ledger_urls):
    app = ledger_urls[1]
    client = program(app, token_for(app))
    assert post(client, "landings", landed("2024-01-01")).status_code == 201
    with Session(client.app.state.engine) as session:
        (number,) = session.execute(text("SELECT max(fact) FROM landing")).one()
    for method, more in (
        ("PATCH", {"json": {"reason": "typing", "values": {"full_stops": 4}}}),
        ("DELETE", {"params": {"reason": "twice"}}),
    ):
        tag = client.get(f"/api/v1/records/{number}").headers["ETag"]
        headers = {"If-Match": tag, "Idempotency-Key": method}
        assert client.request(method, f"/api/v1/records/{number}", headers=headers, **more).status_code == 200
    assert client.get("/api/v1/verify", params={"rebuild": True}).status_code == 200
    client.app.state.engine.dispose()


def test_people_come_in_as_that_role(ledger_urls, app_engine, capsys):
    app = ledger_urls[1]
    assert cli.main(["person", "add", "ben", "--role", "clerk", "--db", app]) == 0
    link = capsys.readouterr().out.split("/enter/")[1].split()[0]
    assert len(link) > 20
    with Session(app_engine) as session:
        assert use_link(session, link, now=dt.datetime.now(dt.UTC))
        session.commit()


def test_a_later_migration_remembers_the_role(ledger_urls, app_engine, capsys):
    owner, app = ledger_urls
    engine = open_engine(owner)
    role = app.split("//")[1].split("@")[0]
    assert app_role.granted(engine) == (role,)
    with engine.begin() as connection:
        connection.execute(text(f"REVOKE ALL ON answered_key FROM {role}"))
    assert cli.main(["migrate", "--db", owner]) == 0
    assert f"{role}: may add and read facts" in capsys.readouterr().out
    with app_engine.connect() as connection:
        connection.execute(text("SELECT 1 FROM answered_key"))
    engine.dispose()


def test_an_owner_who_may_not_make_roles_is_told_to_ask(ledger_urls, app_engine):
    with pytest.raises(LedgerError, match="CREATE ROLE"):
        app_role.grant(app_engine, "another")


def test_a_role_that_nothing_holds_back_is_refused(ledger_urls, sqlite_url):
    engine = open_engine(ledger_urls[0])
    with pytest.raises(LedgerError, match="a role of its own"):
        app_role.grant(engine, "ledger")
    engine.dispose()
    engine = open_engine(sqlite_url)
    with pytest.raises(LedgerError, match="has no roles"):
        app_role.grant(engine, "app")
    engine.dispose()
