"""Records by JSON: entered, read with their versions, corrected under If-Match, each write once for its key."""

import datetime as dt
import itertools
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import update

from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.form_guard import HEADER
from db.people import add_person
from db.records.log import AnsweredKey
from db.session import Session
from db.sessions import begin_session
from db.verify import verify
from tests.api.one_app import app_on
from tests.ledger import fleet

ORIGIN = {"Origin": "http://testserver"}
DAYS = itertools.count(1)


@pytest.fixture
def let_in(engine, url):
    """A client in the name of somebody, on a ledger with the small fleet; the chain holds at the end."""
    with Session(engine) as session, session.begin():
        fleet(session, aircraft=2, brakes=41)
    app = app_on(url)

    def client(name="ann", role="clerk", *bases):
        now = dt.datetime.now(dt.UTC)
        with Session(engine) as session, session.begin():
            add_person(session, name, role, now=now, bases=bases)
            secret = begin_session(session, name, by="password", now=now)
        headers = {**ORIGIN, HEADER: form_token_of(secret)}
        return TestClient(app, cookies={PLAIN_COOKIE: secret}, headers=headers)

    yield client
    app.state.engine.dispose()
    with Session(engine) as session:
        verify(session, rebuild=True)


def key(**headers):
    return {"Idempotency-Key": str(uuid.uuid4()), **headers}


def a_landing(**values):
    return {"registration": "ZZ-001", "day": "2024-01-05", "full_stops": 4, **values}


def post(client, kind, row, **headers):
    return client.post(f"/api/v1/{kind}", json=row, headers=key(**headers))


def entered(client, kind="landings", row=None):
    """Enter one record and give its number: the fleet's own are fewer than it."""
    answer = post(client, kind, row or a_landing())
    assert answer.status_code == 201, answer.text
    return newest(client)


def newest(client):
    numbers = (
        number for number in itertools.count(40) if client.get(f"/api/v1/records/{number}").status_code == 404
    )
    return next(numbers) - 1


def test_rows_are_entered_once_and_read_back_with_their_version(let_in):
    client = let_in()
    number = entered(client, row={"rows": [a_landing(), a_landing(day="2024-01-06", touch_and_gos=None)]})
    found = client.get(f"/api/v1/records/{number}")
    assert found.headers["etag"] == f'"{number}-1"'
    told = found.json()
    assert (told["kind"], told["values"]["day"], told["values"]["full_stops"]) == (
        "landings",
        "2024-01-06",
        "4",
    )
    assert [each["person"] for each in told["versions"]] == ["ann"]


def test_the_answer_names_the_record_and_version_of_each_row_also_of_those_there_before(let_in):
    client = let_in()
    first = post(client, "landings", {"rows": [a_landing(), a_landing(day="2024-01-06")]}).json()["records"]
    numbers = [each["record"] for each in first]
    assert [(each["row"], each["version"], each["new"]) for each in first] == [
        (row, f"{number}-1", True) for row, number in enumerate(numbers, 1)
    ]
    for each in first:
        assert client.get(f"/api/v1/records/{each['record']}").headers["etag"] == f'"{each["version"]}"'
    again = {"rows": [a_landing(day="2024-01-07"), a_landing(day="2024-01-06"), a_landing(day="2024-01-07")]}
    answer = post(client, "landings", again)
    assert answer.status_code == 201
    third = answer.json()["records"][0]["record"]
    assert [(each["record"], each["new"]) for each in answer.json()["records"]] == [
        (third, True),
        (numbers[1], False),
        (third, False),
    ]
    same = post(client, "landings", a_landing())
    assert (same.status_code, same.json()["records"]) == (200, [{**first[0], "new": False}])


def test_what_is_wrong_with_a_row_is_told_cell_by_cell_and_nothing_is_kept(let_in):
    client = let_in()
    answer = post(client, "landings", {"rows": [a_landing(), a_landing(day="3/4", full_stops=-1)]})
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")
    assert {(error["row"], error["column"]) for error in answer.json()["errors"]} == {
        (2, "day"),
        (2, "full_stops"),
    }
    assert post(client, "landings", a_landing()).json()["added"] == 1


def test_a_write_without_a_key_is_refused(let_in):
    answer = let_in().post("/api/v1/landings", json=a_landing())
    assert (answer.status_code, "Idempotency-Key" in answer.json()["detail"]) == (400, True)


def test_the_same_key_gets_the_same_answer_and_has_one_effect(let_in):
    client, headers = let_in(), key()
    first, again = (client.post("/api/v1/landings", json=a_landing(), headers=headers) for _ in range(2))
    assert (first.status_code, first.content) == (again.status_code, again.content)
    assert first.json()["added"] == 1


def test_a_key_is_not_for_something_else(let_in):
    client, headers = let_in(), key()
    client.post("/api/v1/landings", json=a_landing(), headers=headers)
    for path, row in (("landings", a_landing(full_stops=5)), ("stock", a_landing())):
        assert client.post(f"/api/v1/{path}", json=row, headers=headers).status_code == 422
    assert let_in("bob").post("/api/v1/landings", json=a_landing(), headers=headers).json()["same"] == 1


def test_one_person_writes_so_often_a_minute_and_no_more(let_in, monkeypatch):
    """Others write on, a retry gets its answer, and after a minute the person writes again."""
    monkeypatch.setattr("db.keys.MOST_WRITES", 2)
    client, headers = let_in(), key()
    first = client.post("/api/v1/landings", json=a_landing(), headers=headers)
    assert post(client, "landings", a_landing(day="2024-01-06")).status_code == 201
    refused = post(client, "landings", a_landing(day="2024-01-07"))
    assert (refused.status_code, refused.headers["retry-after"]) == (429, "10")
    assert "wait a minute" in refused.json()["detail"]
    assert client.post("/api/v1/landings", json=a_landing(), headers=headers).content == first.content
    assert post(let_in("bob"), "landings", a_landing(day="2024-01-07")).status_code == 201
    monkeypatch.setattr("db.keys.WINDOW", dt.timedelta(0))
    assert post(client, "landings", a_landing(day="2024-01-08")).status_code == 201


def test_a_refused_write_leaves_its_key_free(let_in):
    client, headers = let_in(), key()
    assert client.post("/api/v1/landings", json=a_landing(day=""), headers=headers).status_code == 422
    assert client.post("/api/v1/landings", json=a_landing(), headers=headers).status_code == 201


def test_a_key_is_forgotten_after_seven_days(let_in, engine):
    client, headers = let_in(), key()
    for days, found in ((6, "added"), (8, "same")):
        assert client.post("/api/v1/landings", json=a_landing(), headers=headers).json()[found] == 1
        old = dt.datetime.now(dt.UTC) - dt.timedelta(days=days)
        with Session(engine) as session, session.begin():
            session.execute(update(AnsweredKey).values(answered_at=old.isoformat(timespec="seconds")))
        if days == 6:
            assert client.post("/api/v1/landings", json=a_landing(), headers=headers).json()["added"] == 1
            with Session(engine) as session, session.begin():
                older = (old - dt.timedelta(days=2)).isoformat(timespec="seconds")
                session.execute(update(AnsweredKey).values(answered_at=older))


def patch(client, number, match, values, reason="misread", **headers):
    told = {"reason": reason, "values": values}
    matched = {"If-Match": match} if match else {}
    return client.patch(f"/api/v1/records/{number}", json=told, headers=key(**matched, **headers))


def test_a_correction_names_the_version_it_corrects(let_in):
    client = let_in()
    number = entered(client)
    assert patch(client, number, "", {"full_stops": 5}).status_code == 428
    done = patch(client, number, f'"{number}-1"', {"full_stops": 5})
    assert (done.status_code, done.headers["etag"]) == (200, f'"{number}-2"')
    stale = patch(client, number, f'"{number}-1"', {"full_stops": 6})
    assert stale.status_code == 412
    assert stale.json()["current"]["version"] == f"{number}-2"
    assert stale.json()["current"]["values"]["full_stops"] == "5"


def test_a_correction_without_a_reason_is_refused(let_in):
    client = let_in()
    number = entered(client)
    for reason in ("", "  "):
        answer = patch(client, number, f'"{number}-1"', {"full_stops": 5}, reason)
        assert (answer.status_code, answer.json()["errors"][0]["column"]) == (422, "reason")


def test_a_request_carries_its_own_fields_and_no_other(let_in):
    client = let_in()
    number = entered(client)
    told = {"reason": "x", "values": {"full_stops": 5}, "person": "bob"}
    headers = key(**{"If-Match": f'"{number}-1"'})
    assert client.patch(f"/api/v1/records/{number}", json=told, headers=headers).status_code == 422
    for row in (a_landing(person="bob"), {"rows": [a_landing(day="2024-01-06")], "person": "bob"}):
        assert post(client, "landings", row).status_code == 422


def test_a_withdrawn_record_keeps_its_versions(let_in):
    client = let_in()
    number = entered(client)
    path = f"/api/v1/records/{number}"
    gone = client.delete(
        path, params={"reason": "entered twice"}, headers=key(**{"If-Match": f'"{number}-1"'})
    )
    assert (gone.status_code, gone.json()["withdrawn"]) == (200, True)
    assert [each["reason"] for each in client.get(path).json()["versions"]] == ["", "entered twice"]


def test_a_limit_is_not_every_clerks_to_withdraw(let_in):
    limit = {"brake_type": "BT-1", "limit": "2.5", "effective_on": "2020-01-01", "source": "invented"}
    number = entered(let_in("pat", "administrator"), "wear-limits", limit)
    path, headers = f"/api/v1/records/{number}", key(**{"If-Match": f'"{number}-1"'})
    assert let_in().delete(path, params={"reason": "x"}, headers=headers).status_code == 403


def test_records_of_another_base_are_not_there(let_in):
    everybody = let_in("eve", "administrator")
    post(everybody, "bases", {"base": "Away"})
    post(everybody, "aircraft-changes", {"registration": "ZZ-002", "from": "2024-01-01", "base": "Away"})
    post(everybody, "aircraft-changes", {"registration": "ZZ-001", "from": "2024-01-01", "base": "Home"})
    number = entered(everybody, row=a_landing(registration="ZZ-002"))
    home = let_in("hal", "clerk", "Home")
    assert home.get(f"/api/v1/records/{number}").status_code == 404
    assert patch(home, number, f'"{number}-1"', {"full_stops": 5}).status_code == 404
    assert post(home, "landings", a_landing(registration="ZZ-002", day="2024-01-09")).status_code == 404
    assert post(home, "landings", a_landing(day="2024-01-09")).status_code == 201


def at_once(calls):
    with ThreadPoolExecutor(len(calls)) as pool:
        return [done.result() for done in [pool.submit(call) for call in calls]]


@pytest.mark.parametrize("clients", [8, pytest.param(50, marks=pytest.mark.long)])
def test_one_correction_from_many_clients_has_one_winner(let_in, clients):
    client = let_in()
    number = entered(client)
    match = f'"{number}-1"'
    calls = [lambda n=n: patch(client, number, match, {"full_stops": 10 + n}) for n in range(clients)]
    found = [answer.status_code for answer in at_once(calls)]
    assert sorted(found) == [200] + [412] * (clients - 1)
    assert len(client.get(f"/api/v1/records/{number}").json()["versions"]) == 2


@pytest.mark.parametrize("times", [8, pytest.param(30, marks=pytest.mark.long)])
def test_one_key_many_times_at_once_has_one_effect(let_in, times):
    client, headers = let_in(), key()
    answers = at_once([lambda: client.post("/api/v1/landings", json=a_landing(), headers=headers)] * times)
    assert {(answer.status_code, answer.content) for answer in answers} == {(201, answers[0].content)}
    assert answers[0].json()["added"] == 1


@pytest.mark.parametrize("brakes", [8, pytest.param(40, marks=pytest.mark.long)])
def test_of_many_installations_for_one_position_one_wins(let_in, brakes):
    client = let_in()
    rows = [
        {
            "serial": f"S{n}",
            "registration": "ZZ-001",
            "position": 1,
            "installed_on": "2024-01-01",
            "starts_as": "new",
        }
        for n in range(1, brakes + 1)
    ]
    answers = at_once([lambda row=row: post(client, "installations", row) for row in rows])
    found = sorted(answer.status_code for answer in answers)
    assert found[0] == 201
    assert set(found[1:]) <= {409, 422}
    assert all("position" in answer.text for answer in answers if answer.status_code != 201)


def test_a_number_that_no_record_can_have_is_not_found(let_in):
    client = let_in("cid", "administrator")
    for number in (-1, 0, 10**12, 2**63, -(10**20)):
        for path in (f"/api/v1/records/{number}", f"/corrections/{number}", f"/bring-in/loads/{number}"):
            assert client.get(path).status_code == 404, path
        for path in ("/api/v1/loads?before", "/bring-in?before", "/held?after", "/corrections?before"):
            assert client.get(f"{path}={number}").status_code < 500, path
