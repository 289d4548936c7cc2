"""What `verify` says of the ledger, and of what it did not check: on the command line and as JSON."""

import json
import shutil
import sqlite3

import pytest
from fastapi.testclient import TestClient

from api import cli
from api.app import make_app
from api.settings import Settings
from db.anchors import HEADER
from db.verify import FACTS


@pytest.fixture
def verified(tmp_path, monkeypatch, capsys):
    """The command on a ledger, with a place for anchors set or none; gives exit status and what was told."""

    def run(url, *words, anchors=""):
        monkeypatch.setenv("PINLEDGER_ANCHORS", str(anchors))
        status = cli.main(["verify", "--db", url, *words])
        told = capsys.readouterr()
        return status, told.out, told.err

    return run


@pytest.fixture
def cut_url(shown_url, tmp_path):
    """The ledger with its last change cut off as a careful hand would: facts, changes, head and guards all agree."""
    file = tmp_path / "cut.db"
    shutil.copy(shown_url.removeprefix("sqlite:///"), file)
    ledger = sqlite3.connect(file)
    guards = ledger.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    (last,) = ledger.execute("SELECT max(seq) - 1 FROM change").fetchone()
    for name, _ in guards:
        ledger.execute(f"DROP TRIGGER {name}")
    for table in [*FACTS, "change"]:
        ledger.execute(f"DELETE FROM {table} WHERE seq > {last}")
    ledger.execute("DELETE FROM occupancy WHERE installation NOT IN (SELECT id FROM installation)")
    ledger.execute(
        "UPDATE chain_head SET (seq, hash, record) = (SELECT seq, hash, (SELECT sum(facts) FROM change) "
        f"FROM change WHERE seq = {last})"
    )
    for _, sql in guards:
        ledger.execute(sql)
    ledger.commit()
    ledger.close()
    return f"sqlite:///{file}"


def test_a_lost_file_of_anchors_is_asked_for_and_never_begun_by_itself(cut_url, verified, tmp_path):
    gone = tmp_path / "gone.csv"
    for _ in range(2):
        status, out, err = verified(cut_url, anchors=gone)
        assert (status, out) == (1, "")
        assert "there is no file of anchors" in err
        assert "--begin-anchors" in err
        assert not gone.exists()
    assert cli.main(["backup", str(tmp_path / "kept.zip"), "--db", cut_url]) == 0
    assert not gone.exists()


def test_anchors_are_begun_knowingly(shown_url, verified, tmp_path):
    kept = tmp_path / "kept.csv"
    status, _, err = verified(shown_url, "--begin-anchors", anchors=kept)
    assert status == 0
    assert "no anchor holds any change" in err
    assert len(kept.read_text().splitlines()) == 2
    assert verified(shown_url, anchors=kept)[2].startswith("1 anchor holds\nthe log alone was checked")
    assert "there already" in verified(shown_url, "--begin-anchors", anchors=kept)[2]
    assert "names no place" in verified(shown_url, "--begin-anchors")[2]


@pytest.mark.parametrize("text", [HEADER, json.dumps({"facts": 0, "head": "ab" * 32})])
def test_an_anchor_that_holds_nothing_is_no_assurance(shown_url, verified, text, tmp_path):
    (tmp_path / "given").write_text(text)
    assert verified(shown_url, "--anchor", str(tmp_path / "given"))[0] == 1


def test_an_anchor_that_is_given_leaves_the_kept_ones_alone(shown_url, verified, tmp_path):
    _, out, _ = verified(shown_url, "--format", "json")
    (tmp_path / "given").write_text(out)
    status, _, err = verified(shown_url, "--anchor", str(tmp_path / "given"), anchors=tmp_path / "gone.csv")
    assert (status, "1 anchor holds" in err) == (0, True)
    assert not (tmp_path / "gone.csv").exists()


def test_what_is_not_checked_is_said(shown_url, cut_url, verified, tmp_path):
    _, out, err = verified(shown_url, "--format", "json")
    whole = json.loads(out)
    assert (whole["anchors"], whole["latest_anchor"], whole["rebuilt"]) == (0, 0, False)
    assert whole["changes_since"] == whole["seq"]
    assert err.splitlines() == whole["not_checked"]
    status, _, err = verified(cut_url, "--rebuild")
    assert status == 0
    assert "not compared with it: who is let in (person, " in err
    assert "a tail that was cut off, or a log written anew to its end, is not seen" in err
    cut = json.loads(verified(cut_url, "--format", "json")[1])
    kept = tmp_path / "kept.csv"
    kept.write_text(f"{HEADER}\n2026-06-01,{cut['seq']},{cut['facts']},{cut['head']}\n")
    _, _, err = verified(shown_url, anchors=kept)
    assert (
        f"the latest anchor stands at change {cut['seq']}, of 2026-06-01; the 1 change since then is held"
        in err
    )


def test_the_service_checks_its_own_anchors_and_says_how_far_they_reach(shown_url, shown_client, tmp_path):
    bare = shown_client.get("/api/v1/verify").json()
    assert (bare["anchors"], bare["changes_since"], len(bare["not_checked"])) == (0, bare["seq"], 2)
    kept = tmp_path / "kept.csv"
    app = make_app(Settings(db=shown_url, secure_cookie=False, anchors=str(kept)))
    client = TestClient(app, cookies=shown_client.cookies, headers=shown_client.headers)
    assert client.get("/api/v1/verify").status_code == 409
    kept.write_text(f"{HEADER}\n2026-06-01,{bare['seq']},{bare['facts']},{bare['head']}\n")
    held = client.get("/api/v1/verify", params={"rebuild": True}).json()
    assert (held["anchors"], held["latest_anchor"], held["latest_anchor_day"]) == (
        1,
        bare["seq"],
        "2026-06-01",
    )
    assert (held["changes_since"], held["rebuilt"], held["head"]) == (0, True, bare["head"])
    kept.write_text(f"{HEADER}\n2026-06-01,{bare['seq']},{bare['facts']},{'ab' * 32}\n")
    assert client.get("/api/v1/verify").json()["title"] == "The log does not verify"


def test_a_ledger_without_its_guards_is_refused(cut_url, verified):
    ledger = sqlite3.connect(cut_url.removeprefix("sqlite:///"))
    ledger.execute("DROP TRIGGER change_append_only_delete")
    ledger.close()
    status, out, err = verified(cut_url, "--rebuild")
    assert (status, out) == (1, "")
    assert "lacks 1 of its" in err
    assert "change_append_only_delete (gone)" in err
