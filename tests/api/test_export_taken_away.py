"""The whole ledger taken away over the web is what the command line writes, for those who may."""

import io
import shutil
import zipfile

import pytest

from api import cli, data_export
from api.editions import freeze, frozen_of
from api.studies import ask
from db.lookup import known_by
from db.session import Session, open_engine
from db.studies import hash_at
from tests.api.client_at import program, token_for


def unpacked(answer):
    assert answer.status_code == 200, answer.text
    archive = zipfile.ZipFile(io.BytesIO(answer.content))
    return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def url(shown_url, tmp_path_factory):
    """A copy of the small fleet with a brief that was frozen, which a clerk may not see."""
    path = tmp_path_factory.mktemp("away") / "ledger.db"
    shutil.copy(shown_url.removeprefix("sqlite:///"), path)
    url = f"sqlite:///{path}"
    engine = open_engine(url)
    what = frozen_of(ask(engine, on=None, known_on=None, seed=1), "S-100", "C-200", "For the board")
    with Session(engine) as session, session.begin():
        freeze(session, what, person="zoe", source="command")
    engine.dispose()
    return url


@pytest.fixture(scope="module")
def archive(url):
    """What a person of a role is answered, by token."""
    may = ("records.export", "money.read")
    return lambda role: program(url, token_for(url, f"away {role}", role, may)).get("/api/v1/export")


def test_a_second_one_at_the_same_time_is_refused_and_holds_nobody_up(archive):
    with data_export.ONE:
        answer = archive("reader")
    assert (answer.status_code, "Retry-After" in answer.headers) == (503, True)
    assert "ask again in a minute" in answer.text


def test_the_archive_holds_the_files_of_the_command_and_names_its_head(url, archive, tmp_path):
    answer = archive("planner")
    assert cli.main(["export", str(tmp_path / "out"), "--db", url]) == 0
    found = unpacked(answer)
    assert found == {file.name: file.read_bytes() for file in (tmp_path / "out").iterdir()}
    assert "editions.json" in found
    engine = open_engine(url)
    with Session(engine) as session:
        known = known_by(session)
        head = hash_at(session, known.seq)
    engine.dispose()
    assert answer.headers["Pinledger-Head"] == head
    assert answer.headers["Pinledger-Known-On"] == known.day.isoformat()
    assert f'filename="pinledger-{known.day}-{head[:12]}.zip"' in answer.headers["Content-Disposition"]
    assert int(answer.headers["Content-Length"]) == len(answer.content)


def test_briefs_go_to_those_who_may_see_them_alone(archive):
    clerk = unpacked(archive("clerk"))
    assert "editions.json" not in clerk
    assert b"editions" not in clerk["SHA256SUMS"] + clerk["README.txt"]


def test_the_page_of_brakes_offers_it_to_who_may_take_it(client_of):
    link = 'href="/api/v1/export"'
    assert link in client_of("carl", "clerk").get("/brakes").text
    assert link not in client_of("walker C 1", "clerk", "Home").get("/brakes").text
