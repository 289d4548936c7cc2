"""A fault before each statement of a write, before its commit and after it: all of it is kept, or nothing."""

import uuid
from contextlib import contextmanager

import pytest
from sqlalchemy import Engine, event, select

from db.base import Base
from db.records.log import ChainHead
from db.session import Session
from db.verify import verify
from tests.api.client_at import SCOPE, landed, post, program, token_for
from tests.ledger import fleet

FIRST, LAST = "2024-01-01", "2024-02-01"
INSTALLED = {"serial": "S1", "brake_type": "BT-1", "registration": "ZZ-001", "position": "1"}
INSTALLED |= {"installed_on": FIRST, "starts_as": "new"}
READ = {
    "serial": "S2",
    "brake_type": "BT-1",
    "day": FIRST,
    "pin_1": "40.0",
    "unit": "mm",
    "convention": "left",
}
ENTRIES = {
    "a day's landings": ("landings", landed(LAST)),
    "an installation": ("installations", {**INSTALLED, "serial": "S3", "position": "2"}),
    "a removal": ("installations", {**INSTALLED, "removed_on": LAST, "removal_reason": "worn"}),
    "a reading": ("pin-readings", READ),
    "ten days at once": ("landings", {"rows": [landed(f"2024-03-{day:02d}") for day in range(1, 11)]}),
}


class GoneError(Exception):
    """The machine has gone."""


@contextmanager
def fault(point, number):
    """Something breaks at the so-and-so-manieth time that this point of the database's work is reached."""
    seen = [0]

    def reached(*_):
        seen[0] += 1
        if seen[0] == number:
            raise GoneError

    event.listen(Engine, point, reached)
    yield seen
    event.remove(Engine, point, reached)


@contextmanager
def gone(point):
    """The process fails once, before the commit or when it is done and the answer has not left."""
    left = [GoneError]

    def lost(session):
        if left and not session.in_nested_transaction():
            raise left.pop()

    event.listen(Session, point, lost)
    yield
    event.remove(Session, point, lost)


@pytest.fixture
def client(url):
    made = program(url, token_for(url, scope=(*SCOPE, "records.import")))
    with Session(made.app.state.engine) as session, session.begin():
        fleet(session)
    assert post(made, "installations", INSTALLED).status_code == 201
    assert post(made, "landings", landed(FIRST)).status_code == 201
    yield made
    made.app.state.engine.dispose()


def contents(client):
    """What the ledger holds, but for when a token was last used."""
    with client.app.state.engine.connect() as connection:
        return {
            table.name: connection.execute(select(table).order_by(*table.primary_key.columns)).all()
            for table in Base.metadata.sorted_tables
            if table.name != "api_token"
        }


def changes_of(client, name):
    """The write asked for, as a function of its key."""
    if name in ENTRIES:
        return lambda key: post(client, *ENTRIES[name], key)
    with Session(client.app.state.engine) as session:
        (number,) = session.execute(select(Base.metadata.tables["landing"].c.fact)).one()
    tag = client.get(f"/api/v1/records/{number}").headers["ETag"]
    asked = {
        "a correction": ("PATCH", {"json": {"reason": "typing", "values": {"full_stops": 4}}}),
        "a withdrawal": ("DELETE", {"params": {"reason": "entered twice"}}),
    }
    method, more = asked[name]
    return lambda key: client.request(
        method, f"/api/v1/records/{number}", headers={"If-Match": tag, "Idempotency-Key": key}, **more
    )


WRITES = [
    pytest.param(name, marks=() if name in ("an installation", "a correction") else pytest.mark.long)
    for name in (*ENTRIES, "a correction", "a withdrawal")
]


@pytest.mark.parametrize("points", [4, pytest.param(10**6, marks=pytest.mark.long)])
@pytest.mark.parametrize("name", WRITES)
def test_a_fault_anywhere_keeps_all_or_nothing(client, name, points):
    write, before, key = changes_of(client, name), contents(client), str(uuid.uuid4())
    with fault("before_cursor_execute", 0) as statements, gone("before_commit"):
        assert write(key).status_code == 500
    assert statements[0] > 8
    for number in range(statements[0], 0, -max(statements[0] // points, 1)):
        with fault("before_cursor_execute", number) as seen:
            assert write(key).status_code == 500, number
        assert seen[0] >= number, "the fault was met; a savepoint is rolled back by one statement more"
    assert contents(client) == before
    with gone("after_commit"):
        assert write(key).status_code == 500
    kept = contents(client)
    assert kept["change"] != before["change"]
    assert write(key).status_code in (200, 201)
    assert contents(client) == kept
    with Session(client.app.state.engine) as session:
        found = verify(session, rebuild=True)
        assert session.scalar(select(ChainHead.seq)) == found.seq
