"""A disk that is full ends a backup, a restore and an export in words, and leaves nothing of them."""

import datetime as dt
import resource
from contextlib import contextmanager

import pytest
from sqlalchemy import make_url

from api import cli
from db.backup import back_up
from db.session import open_engine
from tests.disks import small_disk

NOW = dt.datetime(2026, 3, 14, 2, 0, tzinfo=dt.UTC)


@contextmanager
def no_longer_file_than(size):
    """No file grows beyond this: what a process may do to itself where it may not mount."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.fixture
def ledger(shown_url):
    return make_url(shown_url).database


@pytest.fixture
def backup(ledger, tmp_path):
    engine = open_engine(f"sqlite:///{ledger}")
    (tmp_path / "kept").mkdir()
    file, _ = back_up(engine, tmp_path / "kept", now=NOW)
    engine.dispose()
    return file


@pytest.fixture
def small(tmp_path, backup):
    """A folder with room for a part of a ledger."""
    folder = tmp_path / "small"
    folder.mkdir()
    with small_disk(folder, 16) as mounted, no_longer_file_than(2**40 if mounted else 4_000):
        yield folder


@pytest.mark.parametrize("what", ["folder", "new/workbook.xlsx", "backup.zip", "restored.db"])
def test_what_finds_no_room_says_where_and_leaves_nothing(small, ledger, backup, what, capsys):
    (small / "new").mkdir()
    words = {
        "backup.zip": ["backup", str(small / what), "--db", ledger],
        "restored.db": ["restore", str(backup), "--db", str(small / what)],
    }.get(what, ["export", str(small / what), "--db", ledger])
    assert cli.main(words) == 1
    told = capsys.readouterr().err
    assert f"refused: {small / what}: " in told
    assert "nothing of it was kept" in told
    assert "name another place" in told
    assert [str(each.relative_to(small)) for each in small.rglob("*")] == ["new"]


def test_a_ledger_that_cannot_be_replaced_stays_as_it_was_and_under_its_name(tmp_path, backup, capsys):
    (tmp_path / "small").mkdir()
    with small_disk(tmp_path / "small", 10_000) as mounted:
        target = tmp_path / "small" / "ledger.db"
        assert cli.main(["restore", str(backup), "--db", str(target)]) == 0
        before, size = target.read_bytes(), target.stat().st_size
        (tmp_path / "small" / "filler").write_bytes(b"0" * (10_000 * 1024 - size - int(size * 1.5)))
        there = sorted(each.name for each in target.parent.iterdir())
        with no_longer_file_than(2**40 if mounted else size // 2):
            assert cli.main(["restore", str(backup), "--db", str(target), "--replace"]) == 1
        assert "nothing of it was kept" in capsys.readouterr().err
        assert target.read_bytes() == before
        assert sorted(each.name for each in target.parent.iterdir()) == there
