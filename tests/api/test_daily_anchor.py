"""The head of the log kept elsewhere by the service and the commands, and shown on what is taken away."""

import io
import json
import time

import pytest
from fastapi.testclient import TestClient
from openpyxl import load_workbook

from api import cli
from api.app import make_app
from api.settings import Settings
from db.anchor_forms import read_anchors
from db.anchors import HEADER, NAME
from db.chain import FIRST_HASH


@pytest.fixture
def head(shown_client):
    return shown_client.get("/api/v1/verify").json()["head"]


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """A file of anchors that the commands know of."""
    monkeypatch.setenv("PINLEDGER_ANCHORS", str(tmp_path / "kept.csv"))
    return tmp_path / "kept.csv"


def test_the_service_notes_the_head_while_it_runs(shown_url, head, tmp_path):
    (tmp_path / NAME).write_text(f"{HEADER}\n")
    app = make_app(Settings(db=shown_url, secure_cookie=False, anchors=str(tmp_path)))
    with TestClient(app) as client:
        for _ in range(200):
            client.get("/health")
            time.sleep(0.01)
            if (tmp_path / NAME).read_text() != f"{HEADER}\n":
                break
    (anchor,) = read_anchors(tmp_path)
    assert anchor.head == head


def test_a_place_that_cannot_be_written_stops_no_service_and_is_logged(shown_url, tmp_path, caplog):
    app = make_app(Settings(db=shown_url, secure_cookie=False, anchors=str(tmp_path / "none" / "kept.csv")))
    with TestClient(app) as client:
        for _ in range(200):
            assert client.get("/health").status_code == 200
            time.sleep(0.01)
            if caplog.records:
                break
    assert [record.event for record in caplog.records if record.name == "pinledger"] == ["no anchor noted"]


def test_serving_with_such_a_place_is_refused_at_the_start(shown_url, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("PINLEDGER_ANCHORS", str(tmp_path / "none" / "kept.csv"))
    assert cli.main(["serve", "--db", shown_url, "--port", "0"]) == 1
    assert "cannot be written" in capsys.readouterr().err
    monkeypatch.setenv("PINLEDGER_ANCHORS", str(tmp_path))
    assert cli.main(["serve", "--db", shown_url, "--port", "0"]) == 1
    assert "there is no file of anchors" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["verify", "backup"])
def test_commands_note_it_and_verify_checks_every_line(shown_url, head, command, kept, capsys):
    kept.write_text(f"{HEADER}\n2026-01-01,0,0,{FIRST_HASH}\n")
    words = {"verify": ["verify"], "backup": ["backup", str(kept.with_suffix(".zip"))]}[command]
    assert cli.main([*words, "--db", shown_url]) == 0
    kept.write_text(f"{HEADER}\n{kept.read_text().splitlines()[-1]}\n")
    (anchor,) = read_anchors(kept)
    assert anchor.head == head
    capsys.readouterr()
    assert cli.main(["verify", "--db", shown_url]) == 0
    told = capsys.readouterr().err
    assert "1 anchor holds" in told
    assert "the log alone was checked; --rebuild" in told
    with kept.open("a") as lines:
        lines.write(f"2099-01-01,{anchor.seq + 1},{anchor.facts + 1},{head}\n")
    assert cli.main(["verify", "--db", shown_url]) == 1
    assert "the log was cut" in capsys.readouterr().err


def test_a_backup_restored_elsewhere_gives_the_same_briefing_byte_for_byte(shown_url, tmp_path, capsys):
    words = ["briefing", "--from", "S-100", "--to", "C-200", "--format", "json", "--db"]
    assert cli.main([*words, shown_url]) == 0
    before = capsys.readouterr().out
    again = str(tmp_path / "again.db")
    assert cli.main(["backup", str(tmp_path / "kept.zip"), "--db", shown_url, "--format", "json"]) == 0
    manifest = json.loads(capsys.readouterr().out)
    assert cli.main(["restore", manifest["file"], "--db", again, "--format", "json"]) == 0
    printed = capsys.readouterr()
    assert json.loads(printed.out)["head"] == manifest["head"]
    assert "person list" in printed.err
    assert cli.main([*words, again]) == 0
    assert capsys.readouterr().out == before


def test_a_restore_says_what_the_anchors_know_beyond_it(shown_url, head, kept, capsys):
    assert cli.main(["backup", str(kept.with_suffix(".zip")), "--db", shown_url]) == 0
    kept.write_text(f"day,seq,facts,head\n2099-01-01,9999,999999,{head}\n")
    again = str(kept.with_suffix(".db"))
    assert cli.main(["restore", str(kept.with_suffix(".zip")), "--db", again]) == 0
    assert "later facts, up to 2099-01-01: enter them again" in capsys.readouterr().err


def test_tables_taken_away_carry_the_head(shown_client, head):
    answer = shown_client.get("/changeouts?format=csv")
    assert f'filename="change-outs-{head[:12]}.csv"' in answer.headers["content-disposition"]
    book = load_workbook(io.BytesIO(shown_client.get("/changeouts?format=xlsx").content))
    assert head in book.properties.description


def test_a_brief_shows_the_head_and_its_json_has_it(shown_client, head):
    asked = {"from": "S-100", "to": "C-200"}
    assert shown_client.get("/api/v1/briefing", params=asked).json()["ledger_head"] == head
    shown = shown_client.get("/retrofit", params=asked).text
    assert " ".join(head[at : at + 8] for at in range(0, 64, 8)) in shown
