"""What the log says, and what it must not."""

import json
import logging

import pytest

from api import logs
from db.session import open_engine
from tests.api.entrance import PASSWORD, browser, link_for, make_entrance, send, sign_in

LINE = logs.JsonLines()


@pytest.fixture
def app(sqlite_url):
    made = make_entrance(sqlite_url, metrics=False)  # of its own, as it gets a route
    made.add_api_route("/fault", fault)
    return made


def fault(reading: str = ""):
    raise RuntimeError(f"reading {reading} mm")


@pytest.fixture
def lines(caplog):
    caplog.set_level(logging.INFO, logger="pinledger")

    def read():
        return [json.loads(LINE.format(record)) for record in caplog.records if record.name == "pinledger"]

    return read


def test_a_line_says_when_who_what_and_how_it_ended(app, lines):
    client = browser(app)
    client.get(link_for(app, "cle"))
    client.get("/account")
    told = lines()[-1]
    assert told["event"] == "request"
    assert (told["method"], told["route"], told["status"], told["person"]) == ("GET", "/account", 200, "cle")
    assert told["address"] == "testclient"
    assert told["time"].endswith("+00:00")
    assert told["seconds"] > 0


def test_what_a_program_asks_is_told_from_the_page_of_the_same_name(app, lines):
    client = browser(app)
    for path in ("/changeouts?on=x", "/api/v1/changeouts?on=x", "/api/v1/editions/7", "/api/v1/nothing"):
        client.get(path)
    found = [each["route"] for each in lines()]
    assert found == ["/changeouts", "/api/v1/changeouts", "/api/v1/editions/{number}", "none"]


def test_coming_in_being_refused_and_going_out_are_told_apart(app, lines):
    client = browser(app)
    sign_in(client, password="wrong")
    sign_in(client)
    send(client, "/sign-out")
    events = [(each["event"], each["person"]) for each in lines() if each["method"] == "POST"]
    assert events == [("sign-in refused", "ann"), ("signed in", "ann"), ("signed out", "ann")]


def test_a_refusal_names_its_kind(app, lines):
    client = browser(app)
    client.get("/account")
    client.get(link_for(app, "cle"))
    client.get("/people")
    client.post("/sign-out", headers={"Origin": "http://other.example"})
    assert [each["refused"] for each in lines() if "refused" in each] == [
        "NotLetInError",
        "NotAllowedError",
        "ForeignFormError",
    ]


def test_a_fault_is_logged_with_its_place_and_without_its_message(app, lines):
    answer = browser(app, raise_server_exceptions=False).get("/fault?reading=12.437")
    told = lines()[-1]
    assert (told["level"], told["error"], told["status"]) == ("error", "RuntimeError", 500)
    assert told["request"] == answer.headers["x-request-id"]
    assert "test_access_logs.py" in told["at"][-1]
    assert "12.437" not in json.dumps(told)


@pytest.mark.parametrize(
    ("sent", "kept"), [("abc-123.DEF_4", True), ("short", False), ("x" * 65, False), ('a"b\nc{}"d', False)]
)
def test_a_sane_request_id_is_honoured_and_no_other(app, lines, sent, kept):
    answer = browser(app).get("/health", headers={"X-Request-ID": sent.replace("\n", "")})
    assert (answer.headers["x-request-id"] == sent) is kept
    assert lines()[-1]["request"] == answer.headers["x-request-id"]


def test_no_secret_and_no_reading_is_in_the_log(app, caplog):
    """Secrets and readings are sent wherever they can be, refused and taken, and looked for in all that was logged."""
    caplog.set_level(logging.DEBUG)
    client, link = browser(app, raise_server_exceptions=False), link_for(app, "ann")
    secrets = [
        link.rpartition("/")[2],
        PASSWORD,
        "wrong horse in the well",
        "12.437",
        "another lamp by the sea",
    ]
    sign_in(client, password=secrets[2])
    sign_in(client, name=PASSWORD, password="x")
    client.get(link)
    secrets.append(client.cookies["pinledger"])
    page = client.get("/account").text
    secrets.append(page.partition('name="form_token" value="')[2][:64])
    made = send(client, "/account/tokens", label="robot", scope="log.verify", days="1").text
    secrets.append(made.partition("<code>")[2].partition("</code>")[0])
    client.get("/api/v1/verify", headers={"Authorization": f"Bearer {secrets[-1]}"})
    client.get("/api/v1/verify", headers={"Authorization": f"Bearer x{secrets[-1]}"})
    seed = send(client, "/account/authenticator", present=PASSWORD).text
    secrets.append(seed.partition("<code>")[2].partition("</code>")[0])
    send(client, "/account/password", new=secrets[4], present=PASSWORD)
    client.get("/fault?reading=12.437")
    client.get("/brake?serial=S-1&reading=12.437")
    client.post("/pin-readings", data={"pin": "12.437", "form_token": secrets[-3]})
    logged = "\n".join(
        [*map(LINE.format, caplog.records), *(record.getMessage() for record in caplog.records)]
    )
    assert len(logged.splitlines()) > 20
    assert all(len(each) > 5 for each in secrets)
    assert [each for each in secrets if each in logged and not _by_test_client(each, caplog.records)] == []


def _by_test_client(secret, records):
    """The client of the tests logs the addresses it asks; that is not our log."""
    return not any(
        secret in LINE.format(each) for each in records if not each.name.startswith(("httpx", "httpcore"))
    )


def test_line_breaks_cannot_forge_a_line():
    record = logging.LogRecord("uvicorn", logging.WARNING, "", 0, 'x\n{"event": "signed in"}', None, None)
    assert len(LINE.format(record).splitlines()) == 1


def test_up_and_ready_are_told_apart(app):
    client = browser(app)
    assert client.get("/health").json() == {"status": "up"}
    assert client.get("/ready").json() == {"status": "ready"}
    with app.state.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '0001'")
    assert (client.get("/ready").status_code, client.get("/health").status_code) == (503, 200)
    assert client.get("/ready").json() == {"status": "not ready", "wanting": "schema"}


def test_not_ready_without_the_database(sqlite_url, tmp_path):
    app = make_entrance(sqlite_url)
    app.state.engine.dispose()
    (tmp_path / "gone").mkdir()
    app.state.engine = open_engine(f"sqlite:///{tmp_path / 'gone' / 'ledger.db'}")
    (tmp_path / "gone").rmdir()
    answer = browser(app).get("/ready")
    assert answer.status_code == 503
    assert answer.json() == {"status": "not ready", "wanting": "database"}
