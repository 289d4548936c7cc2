"""Files brought in by page and by program: matched, tried, mended, loaded, withdrawn; each person their own bases."""

import datetime as dt
import re
import shutil
import uuid
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import func, select

from api.app import make_app
from api.body_limit import MOST_BODY
from api.caller import form_token_of
from api.callers import PLAIN_COOKIE
from api.form_guard import HEADER
from api.loads import FILES_AT_ONCE
from api.settings import Settings
from db.export import export
from db.files import FILES
from db.lookup import known_by
from db.people import add_person
from db.records.loads import FileLoad, Upload, UploadPart
from db.records.log import ChainHead
from db.records.readings import Landing
from db.session import Session
from db.sessions import begin_session
from tests.api.conftest import ORIGIN

HANGAR = ["Kennzeichen;Tag;Landungen;Stunden;Bemerkung"]
ROWS = [f"ZZ-A;{day:02d}.06.2026;{day % 5};{day % 7},5;gut" for day in range(1, 21)]
WRONG = [
    "ZZ-A;21.06.2026;vier;1,0;",
    "ZZ-A;2026-06-22;4;1,0;",
    "ZZ-A;23.06.2026;4;1.0;",
    "ZZ-A;31.06.2026;4;1,0;",
    "ZZ-Q;24.06.2026;4;1,0;",
    "ZZ-A;25.06.2026;-4;1,0;",
]
MATCH = {
    "kind": "landings",
    "from_registration": "Kennzeichen",
    "from_day": "Tag",
    "from_full_stops": "Landungen",
    "from_flight_hours": "Stunden",
}
WAY = {
    "source": "Hangar list",
    "encoding": "windows-1252",
    "separator": "semicolon",
    "decimal": "comma",
    "days": "day-month-year",
}


@pytest.fixture(scope="module")
def app(shown_url, tmp_path_factory):
    """The application on a copy of the small fleet, which these tests write to."""
    path = tmp_path_factory.mktemp("bring") / "ledger.db"
    shutil.copy(Path(shown_url.removeprefix("sqlite:///")), path)
    return make_app(Settings(db=f"sqlite:///{path}", secure_cookie=False))


@pytest.fixture(scope="module")
def client(app):
    """A client in the name of a new person of a role and some bases."""

    def made(role, *bases):
        name, now = f"{role} {uuid.uuid4()}", dt.datetime.now(dt.UTC)
        with Session(app.state.engine) as session:
            add_person(session, name, role, now=now, bases=bases)
            secret = begin_session(session, name, by="link", now=now)
            session.commit()
        headers = {**ORIGIN, HEADER: form_token_of(secret)}
        return TestClient(app, cookies={PLAIN_COOKIE: secret}, headers=headers, follow_redirects=False)

    return made


def key():
    return {"write_key": str(uuid.uuid4())}


def send(client, lines, name="liste.csv", **way):
    content = "\n".join(lines).encode("cp1252")
    return client.post("/bring-in", data={**key(), **way}, files={"files": (name, content)})


def head_of(app):
    with Session(app.state.engine) as session:
        return session.scalars(select(ChainHead.hash)).one()


def answer(page):
    return re.search(r'<p class="answer">(.*?)</p>', page.text, re.DOTALL)[1].replace("\N{THIN SPACE}", " ")


def landings(app):
    with Session(app.state.engine) as session:
        return session.scalars(select(func.count()).select_from(Landing)).one()


def test_a_file_of_another_source_is_matched_tried_mended_loaded_and_withdrawn(app, client):
    clerk, before = client("clerk"), head_of(app)
    there = send(clerk, HANGAR + ROWS + WRONG, **WAY).headers["location"]
    assert "match its columns" in answer(clerk.get(there))
    lines = clerk.get(f"{there}?place=0&kind=landings").text
    assert "Kennzeichen (ZZ-A, ZZ-A, ZZ-A)" in lines
    matched = clerk.post(f"{there}/columns/0", data={**key(), **MATCH})
    assert matched.status_code == 303
    page = clerk.get(there)
    assert answer(page).startswith("20 ready, 6 need fixing, 0 on record already")
    assert 'name="act" value="load"' not in page.text
    table = clerk.get(f"{there}?format=csv").text
    assert "landings,22,Landungen,vier,is not a number" in table
    assert "landings,24,Stunden,1.0,has a point" in table
    assert [line.split(",")[1] for line in table.splitlines()[1:]] == ["22", "23", "24", "25", "26", "27"]
    assert clerk.post(there, data={**key(), "act": "load"}).status_code == 422
    assert head_of(app) == before

    mended = [
        row.replace("vier", "4").replace("2026-06-22", "22.06.2026").replace(";1.0", ";1,0") for row in WRONG
    ]
    mended = [row.replace("31.06", "30.06").replace("ZZ-Q", "ZZ-A").replace("-4", "4") for row in mended]
    assert 'value="Hangar list"' in clerk.get("/bring-in?source=Hangar+list").text
    there = send(clerk, HANGAR + ROWS + mended, **WAY).headers["location"]
    assert answer(clerk.get(there)).startswith("26 ready, 0 need fixing")
    count = landings(app)
    load = clerk.post(there, data={**key(), "act": "load"}).headers["location"]
    assert landings(app) == count + 26
    assert "26" in answer(clerk.get(load))
    assert clerk.get(there).status_code == 404
    refused = clerk.post(load, data={**key(), "reason": " "})
    assert refused.status_code == 422
    assert "needs a reason" in refused.text
    assert clerk.post(load, data={**key(), "reason": "the wrong month"}).status_code == 303
    assert "Withdrawn whole" in answer(clerk.get(load))
    number = load.rpartition("/")[2]
    listed = clerk.get("/corrections").text
    assert listed.count("the wrong month") == 1
    assert "withdrawn: 26\N{NO-BREAK SPACE}rows" in listed
    opened = clerk.get(f"/corrections?load={number}").text
    assert opened.count("the wrong month") == 20
    rest = clerk.get(re.search(r'href="(/corrections\?load=[^"]+)"', opened)[1].replace("&amp;", "&")).text
    assert rest.count("the wrong month") == 6
    there = send(clerk, HANGAR + ROWS + mended, **WAY).headers["location"]
    assert answer(clerk.get(there)).startswith("26 ready, 0 need fixing")


def test_a_header_that_the_source_did_not_have_is_asked_about_again(client):
    clerk = client("clerk")
    there = send(
        clerk, ["Reg;Day;Stops", "ZZ-A;2026-07-01;4"], separator="semicolon", source="List 2"
    ).headers["location"]
    first = {"kind": "landings", "from_registration": "Reg", "from_day": "Day", "from_full_stops": "Stops"}
    clerk.post(f"{there}/columns/0", data={**key(), **first})
    again = send(
        clerk, ["Reg;Day;Stops;Field", "ZZ-A;2026-07-01;4;x"], separator="semicolon", source="List 2"
    )
    page = clerk.get(again.headers["location"])
    assert "match its columns" in answer(page)
    assert re.search(r'<option value="Stops" selected>', page.text)


def test_a_wrong_match_says_what_is_wrong_beside_the_column_and_keeps_what_was_chosen(client):
    clerk = client("clerk")
    there = send(clerk, ["a,b", "ZZ-A,2026-07-01"]).headers["location"]
    wrong = clerk.post(
        f"{there}/columns/0", data={**key(), "kind": "landings", "from_day": "b", "value_airfield": "Home"}
    )
    assert wrong.status_code == 422
    assert "is required, and nothing gives it" in wrong.text
    assert 'value="Home"' in wrong.text
    twice = {"kind": "landings", "from_day": "b", "from_to_day": "b"}
    assert "is chosen for day already" in clerk.post(f"{there}/columns/0", data={**key(), **twice}).text


def test_one_value_for_all_rows_and_other_units_are_taken(app, client):
    clerk = client("clerk")
    there = send(clerk, ["craft,when,mass,minutes", "ZZ-A,2026-07-02,150000,90"]).headers["location"]
    match = {"kind": "landings", "from_registration": "craft", "from_day": "when", "value_full_stops": "2"}
    match |= {"from_landing_mass_kg": "mass", "unit_landing_mass_kg": "lb", "from_flight_hours": "minutes"}
    clerk.post(f"{there}/columns/0", data={**key(), **match, "unit_flight_hours": "min"})
    clerk.post(there, data={**key(), "act": "load"})
    with Session(app.state.engine) as session:
        row = session.scalars(select(Landing).order_by(Landing.id.desc())).first()
    assert (row.full_stops, row.flight_hours) == (2, 1.5)
    assert row.landing_mass_kg == pytest.approx(68_038.8555)


def test_a_file_with_our_own_columns_goes_straight_to_the_dry_run(client):
    page = client("clerk")
    there = send(page, ["registration,day,full_stops", "ZZ-A,2026-07-03,4"], name="landings.csv").headers[
        "location"
    ]
    assert answer(page.get(there)).startswith("1 ready")


def test_a_whole_export_is_brought_in_and_its_readme_is_passed_over(app, client, tmp_path):
    with Session(app.state.engine) as session:
        export(session, tmp_path / "out.xlsx", known=known_by(session))
    keeper, readme = client("administrator"), ("files", ("README.txt", b"Records of a Pinledger ledger, one"))
    book = ("files", ("out.xlsx", (tmp_path / "out.xlsx").read_bytes()))
    asked = keeper.post("/bring-in", data=key(), files=[book, readme])
    assert asked.status_code == 303
    sent = UploadPart.upload == asked.headers["location"].split("/")[-1]
    with Session(app.state.engine) as session:
        assert sorted(session.scalars(select(UploadPart.title).where(sent))) == sorted(FILES)
    alone = keeper.post("/bring-in", data=key(), files=[readme])
    assert alone.status_code == 422
    assert "a README holds no records" in alone.text


def test_a_clerk_of_some_bases_brings_in_their_rows_and_no_others(client):
    clerk = client("clerk", "Home")
    rows = ["registration,day,full_stops", "ZZ-A,2026-08-01,4"]
    there = send(clerk, rows, name="landings.csv").headers["location"]
    load = clerk.post(there, data={**key(), "act": "load"}).headers["location"]
    assert clerk.get(load).status_code == 200
    there = send(clerk, [*rows[:1], "ZZ-B,2026-08-01,4"], name="landings.csv").headers["location"]
    assert "outside your bases (Home)" in clerk.get(there).text
    assert clerk.post(there, data={**key(), "act": "load"}).status_code == 422
    refused = send(clerk, ["base", "East"], name="bases.csv")
    assert refused.status_code == 403
    other = client("clerk", "Away")
    assert other.get(load).status_code == 404
    assert other.post(load, data={**key(), "reason": "not mine"}).status_code == 404
    assert load not in other.get("/bring-in").text
    assert load in clerk.get("/bring-in").text


def test_limits_and_assumptions_are_not_a_clerks_to_bring_in(client):
    row = ["brake_type,limit,effective_on,source", "S-100,4,2026-01-01,manual"]
    assert send(client("clerk"), row, name="wear_limits.csv").status_code == 403
    there = send(client("administrator"), row, name="wear_limits.csv")
    assert there.status_code == 303


def test_an_upload_is_its_persons_alone_and_goes_after_a_day(app, client):
    clerk = client("clerk")
    there = send(clerk, ["a,b", "1,2"]).headers["location"]
    assert client("clerk").get(there).status_code == 404
    with Session(app.state.engine) as session:
        session.get(Upload, there.rpartition("/")[2]).expires_at = "2026-01-01T00:00:00+00:00"
        session.commit()
    assert clerk.get(there).status_code == 404


def test_the_same_post_again_gives_the_same_answer_and_one_effect(app, client):
    clerk, keyed = client("clerk"), key()
    files = {"files": ("landings.csv", b"registration,day,full_stops\nZZ-A,2026-08-02,4\n")}
    there = clerk.post("/bring-in", data=keyed, files=files).headers["location"]
    assert clerk.post("/bring-in", data=keyed, files=files).headers["location"] == there
    keyed = {**key(), "act": "load"}
    first = clerk.post(there, data=keyed).headers["location"]
    assert clerk.post(there, data=keyed).headers["location"] == first
    with Session(app.state.engine) as session:
        assert (
            session.scalars(
                select(func.count()).where(FileLoad.number == int(first.rpartition("/")[2]))
            ).one()
            == 1
        )


def test_nothing_chosen_and_what_cannot_be_read_come_back_with_the_form_as_typed(client):
    clerk = client("clerk")
    empty = clerk.post("/bring-in", data={**key(), "source": "List 3"}, files={"files": ("", b"")})
    assert empty.status_code == 422
    assert "no file was chosen" in empty.text
    many = [("files", (f"{each}.csv", b"a\n1\n")) for each in range(FILES_AT_ONCE + 1)]
    assert "files are too many" in clerk.post("/bring-in", data=key(), files=many).text
    wrong = send(clerk, ["a;b", "1;2"], source="List 3")
    assert wrong.status_code == 422
    assert "parted by semicolons" in wrong.text
    assert 'value="List 3"' in wrong.text


def test_a_request_that_is_too_long_is_refused_unread(client):
    clerk = client("clerk")
    kind = {"Content-Type": "multipart/form-data; boundary=x"}
    told = clerk.post("/bring-in", content=b"", headers={**kind, "Content-Length": str(MOST_BODY + 1)})
    assert told.status_code == 413
    pieces = (bytes(1 << 20) for _ in range(13))
    assert clerk.post("/bring-in", content=pieces, headers=kind).status_code == 413


def test_a_program_tries_loads_lists_and_withdraws(app, client):
    clerk = client("clerk")
    files = {"file": ("landings.csv", b"registration,day,full_stops\nZZ-A,2026-08-03,4\n")}
    keyed = {"Idempotency-Key": "load 1"}
    before = head_of(app)
    tried = clerk.post("/api/v1/loads?dry_run=true", files=files, headers={"Idempotency-Key": "try 1"})
    assert (tried.status_code, tried.json()["files"][0]["ready"]) == (200, 1)
    assert head_of(app) == before
    made = clerk.post("/api/v1/loads", files=files, headers=keyed)
    assert made.status_code == 201
    number = made.json()["number"]
    assert clerk.post("/api/v1/loads", files=files, headers=keyed).json() == made.json()
    assert clerk.get("/api/v1/loads").json()["loads"][0]["number"] == number
    wrong = {"file": ("landings.csv", b"registration,day,full_stops\nZZ-A,2026-08-04,x\n")}
    refused = clerk.post("/api/v1/loads", files=wrong, headers={"Idempotency-Key": "load 2"})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["column"] == "full_stops"
    gone = clerk.delete(f"/api/v1/loads/{number}?reason=twice", headers={"Idempotency-Key": "back 1"})
    assert (gone.status_code, gone.json()["records"], gone.json()["reason"]) == (200, 1, "twice")
    unknown = {"file": ("liste.csv", b"a,b\n1,2\n")}
    told = clerk.post("/api/v1/loads", files=unknown, headers={"Idempotency-Key": "load 3"})
    assert "match them once under Bring in records" in told.json()["errors"][0]["suggestion"]


def test_a_planner_and_a_reader_bring_in_nothing(client):
    for role in ("planner", "reader"):
        assert client(role).get("/bring-in").status_code == 403
        assert send(client(role), ["a", "1"]).status_code == 403


def test_two_servers_serve_one_upload(app, client):
    clerk = client("clerk")
    there = send(clerk, ["registration,day,full_stops", "ZZ-A,2026-08-05,4"], name="landings.csv").headers[
        "location"
    ]
    other = make_app(Settings(db=app.state.settings.db, secure_cookie=False))
    elsewhere = TestClient(other, cookies=clerk.cookies, headers=clerk.headers, follow_redirects=False)
    assert answer(elsewhere.get(there)).startswith("1 ready")
    assert elsewhere.post(there, data={**key(), "act": "load"}).status_code == 303
