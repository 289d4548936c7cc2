"""Loads by command line: written as said, of a remembered source, tried, listed and withdrawn."""

import json

import pytest
from sqlalchemy import select

from api import cli
from api.commands.refusal import report
from api.words import way_told
from db.entry.uploads import Sent, keep_upload, match_part
from db.errors import RowError, RowsRefusedError
from db.imports.matching import Matching
from db.imports.written import Written
from db.people import add_person
from db.records.log import Change
from db.session import Session, open_engine
from db.uploads.spool import Part
from tests.api.entrance import now

HANGAR = "Kennzeichen;Tag;Landungen\nZZ-A;01.06.2026;4\nZZ-A;02.06.2026;\u00e9\n"
OURS = "registration;day;full_stops;flight_hours\nZZ-A;03.06.2026;4;2,5\n"
HOW = ("--encoding", "windows-1252", "--separator", ";", "--decimal", "comma", "--days", "day-month-year")


@pytest.fixture(scope="module")
def url(tmp_path_factory):
    """A ledger with one aircraft, made by command."""
    folder = tmp_path_factory.mktemp("commands")
    url = f"sqlite:///{folder / 'ledger.db'}"
    (folder / "in").mkdir()
    (folder / "in" / "aircraft_types.csv").write_text("aircraft_type,positions\ntwin,1;2\n")
    (folder / "in" / "aircraft.csv").write_text("registration,aircraft_type\nZZ-A,twin\n")
    assert cli.main(["migrate", "--db", url]) == 0
    assert cli.main(["import", str(folder / "in"), "--db", url]) == 0
    return url


def run(capsys, *words):
    capsys.readouterr()
    status = cli.main([*words, "--format", "json"])
    said = capsys.readouterr()
    return status, json.loads(said.out), said.err


def test_files_written_another_way_are_taken_as_said_and_withdrawn_by_number(url, tmp_path, capsys):
    (tmp_path / "landings.csv").write_bytes(OURS.encode("cp1252"))
    path = str(tmp_path)
    status, told, said = run(capsys, "import", path, "--db", url, *HOW, "--dry-run")
    assert (status, told["files"][0]["ready"]) == (0, 1)
    assert "nothing kept" in said
    assert run(capsys, "import", path, "--db", url)[1]["errors"][0]["rule"].startswith(
        "fields are parted by semicolons"
    )
    status, told, said = run(capsys, "import", path, "--db", url, *HOW)
    assert (status, told["files"][0]["added"]) == (0, 1)
    _, listed, _ = run(capsys, "loads", "--db", url)
    number = str(listed[0]["number"])
    assert f"kept as load {number}" in said
    assert len(listed[0]["files"][0]["sha256"]) == 64
    status, told, _ = run(capsys, "withdraw-load", number, "--db", url, "--reason", "another year")
    assert (status, told) == (0, [{"load": int(number), "withdrawn": 1, "reason": "another year"}])
    assert run(capsys, "withdraw-load", number, "--db", url, "--reason", "again")[0] == 1
    assert run(capsys, "loads", "--db", url)[1][0]["reason"] == "another year"


def test_a_remembered_source_gives_columns_and_writing(url, tmp_path, capsys):
    columns = {"Kennzeichen": "registration", "Tag": "day", "Landungen": "full_stops"}
    written = Written("windows-1252", "semicolon", "comma", "day-month-year")
    with Session(open_engine(url)) as session:
        add_person(session, "cle", "clerk", now=now())
        part = Part("liste", tuple(columns), 1, (), b"")
        number = keep_upload(
            session, "cle", [Sent("l.csv", "", part)], source="hangar", written=written, now=now()
        )
        match_part(
            session, number, 0, "landings", Matching(columns, written=written), person="cle", now=now()
        )
        session.commit()
    path = tmp_path / "juni.csv"
    path.write_bytes(HANGAR.encode("cp1252"))
    status, told, said = run(capsys, "import", str(path), "--db", url, "--source", "hangar", "--dry-run")
    assert status == 1
    assert [(error["row"], error["column"], error["value"]) for error in told["errors"]] == [
        (3, "Landungen", "\u00e9")
    ]
    assert "landings: 1 ready, 1 need fixing" in said
    path.write_bytes(HANGAR.replace("\u00e9", "5").encode("cp1252"))
    status, told, _ = run(capsys, "import", str(path), "--db", url, "--source", "hangar", "--person", "eve")
    assert status == 1
    assert "say --person NAME, one of cle" in told["detail"]
    assert run(capsys, "import", str(path), "--db", url, "--source", "hangar", "--person", "cle")[0] == 0
    with Session(open_engine(url)) as session:
        change = session.scalars(select(Change).order_by(Change.seq.desc())).first()
        assert (change.person, change.source) == ("cle", "command import juni.csv landings")
    assert run(capsys, "loads", "--db", url)[1][0]["person"] == "cle"
    assert run(capsys, "withdraw-load", "1", "--db", url, "--reason", "x", "--person", "eve")[0] == 1
    _, told, _ = run(capsys, "import", str(path), "--db", url, "--source", "hanger")
    assert "known: hangar" in told["detail"]


@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("form", "form"),
        ("api load 3", "api load 3"),
        ("command", "by the command line"),
        ("command import juni.csv landings", "by the command line: import juni.csv landings"),
        ("import landings.csv", "by the command line: import landings.csv"),
    ],
)
def test_a_reader_is_told_what_came_by_the_command_line(source, told):
    assert way_told(source) == told


def test_a_separator_or_an_encoding_that_is_not_known_is_wrong_use(url, capsys):
    with pytest.raises(SystemExit) as ended:
        cli.main(["import", ".", "--separator", "slash"])
    assert ended.value.code == 2
    assert "wanted comma, semicolon, tab or stroke" in capsys.readouterr().err
    assert cli.main(["import", ".", "--db", url, "--encoding", "ebcdic"]) == 1
    assert "choose one of utf-8" in capsys.readouterr().err


def test_a_refusal_counts_its_errors_in_words_and_names_no_row_of_a_whole_file(capsys):
    whole = RowError("all.xlsx", 0, "", "all.xlsx", "is too large", "split it")
    cell = RowError("landings", 2, "day", "x", "is no day", "write it so: 2026-03-14")
    assert str(RowsRefusedError((whole,))) == "1 error; first: all.xlsx: is too large; split it"
    assert report(RowsRefusedError((cell, whole)), "table")
    told = capsys.readouterr().err.splitlines()
    assert told[0] == "refused: 2 errors, nothing was kept"
    assert told[1] == "  landings row 2, day = 'x': is no day; write it so: 2026-03-14"
    assert told[2] == "  all.xlsx: is too large; split it"
