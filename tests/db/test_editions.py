"""Editions: frozen whole, in the chain, never changed, withdrawn with a reason and still there to be read."""

import datetime as dt
import json

import pytest
from openpyxl import load_workbook
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from db.backup import back_up
from db.chain import Act
from db.editions import edition, editions, shown_in
from db.entry.editions import Freezing, freeze_edition, withdraw_edition
from db.errors import BrokenChainError, NotFoundError, RowsRefusedError, StaleVersionError
from db.export import export
from db.imports.folder import open_unnamed
from db.imports.written import PLAIN
from db.lookup import known_by
from db.restore import restore
from db.session import Session, open_engine
from db.studies import hash_at
from db.verify import verify

DAY = dt.date(2026, 10, 31)
SHOWN = {"npv": 0.1 + 0.2, "words": "Über 3\N{NO-BREAK SPACE}%", "flows": [1, None, -2.5e-7]}
FREEZE = Act("ann", "form", "freeze an edition")


def asked(title="For the board"):
    return Freezing(title, "S-100", "C-200", "S-12AB", DAY, DAY, "ab" * 32, 1, SHOWN)


def frozen(session, title="For the board"):
    number = freeze_edition(session, FREEZE, asked(title))
    return edition(session, number)


def withdrawn(session, found, reason="the kit's price was wrong"):
    act = Act("bob", "form", "withdraw an edition", reason)
    return withdraw_edition(session, act, found.number, version=found.version)


def test_an_edition_comes_back_as_it_was_frozen_with_its_place_in_the_chain(session):
    found = frozen(session, "  For   the board ")
    assert json.loads(shown_in(session, found.number)) == SHOWN
    assert (found.title, found.frozen_by, found.withdrawn_by) == ("For the board", "ann", "")
    assert (found.study, found.records_head, found.forecast_on) == ("S-12AB", "ab" * 32, DAY)
    assert found.entry == hash_at(session, found.seq)
    assert verify(session, rebuild=True).head == found.entry


def test_the_database_itself_refuses_to_change_an_edition(session):
    frozen(session)
    session.commit()
    ways = ["UPDATE edition SET title = 'x'", "DELETE FROM edition"]
    ways += (
        ["REPLACE INTO edition SELECT * FROM edition"]
        if session.get_bind().dialect.name == "sqlite"
        else ["TRUNCATE edition"]
    )
    for way in ways:
        with pytest.raises(DatabaseError, match="append_only"), session.begin_nested():
            session.execute(text(way))


def test_an_edition_changed_behind_the_ledgers_back_is_found(sqlite_url):
    engine = open_engine(sqlite_url)
    with Session(engine) as session:
        found = frozen(session)
        session.execute(text("DROP TRIGGER edition_append_only_update"))
        session.execute(text("UPDATE edition SET shown = '{}'"))
        with pytest.raises(BrokenChainError) as error:
            verify(session, rebuild=True)
        assert error.value.seq == found.seq
    engine.dispose()


def test_a_withdrawn_edition_stays_readable_with_who_and_why(session):
    found = frozen(session)
    with pytest.raises(RowsRefusedError, match="needs a reason"):
        withdrawn(session, found, reason=" ")
    after = withdrawn(session, found)
    assert (after.withdrawn_by, after.reason) == ("bob", "the kit's price was wrong")
    assert (after.frozen_by, after.entry) == (found.frozen_by, found.entry)
    assert json.loads(shown_in(session, found.number)) == SHOWN
    with pytest.raises(RowsRefusedError, match="withdrawn already"):
        withdrawn(session, after)
    verify(session, rebuild=True)


def test_what_is_withdrawn_is_what_was_looked_at(session):
    found = frozen(session)
    with pytest.raises(StaleVersionError, match="the one looked at was none"):
        withdraw_edition(session, Act("bob", "api", "w", "why"), found.number, version="")


@pytest.mark.parametrize(("title", "rule"), [("  ", "needs a title"), ("x" * 121, "121 characters")])
def test_a_title_is_wanted_and_not_a_page_long(session, title, rule):
    with pytest.raises(RowsRefusedError, match=rule):
        frozen(session, title)
    assert editions(session) == []


def test_the_list_has_all_the_latest_first_and_an_unknown_number_is_said(session):
    first, second = frozen(session, "first"), frozen(session, "second")
    gone = withdrawn(session, first)
    assert editions(session) == [second, gone]
    for number in (0, second.number + 9, 2**70):
        with pytest.raises(NotFoundError, match="no edition has the number"):
            edition(session, number)


def test_an_export_carries_editions_and_import_passes_over_them(session, tmp_path):
    found = frozen(session, "=1+1")
    known = known_by(session)
    assert export(session, tmp_path / "out", known=known)["editions"] == 1
    [told] = json.loads((tmp_path / "out" / "editions.json").read_text())
    assert told["shown"] == shown_in(session, found.number)
    assert (told["entry"], told["records_head"]) == (found.entry, found.records_head)
    export(session, tmp_path / "out.xlsx", known=known)
    rows = list(load_workbook(tmp_path / "out.xlsx")["editions"].values)
    assert rows[1][rows[0].index("title")] == "'=1+1"
    for name in ("out", "out.xlsx"):
        assert "editions" not in {each.name for each in open_unnamed(tmp_path / name, PLAIN)}


def test_a_backup_brings_editions_back(engine, tmp_path):
    with Session(engine) as session:
        found = frozen(session)
        session.commit()
    now = dt.datetime.now(dt.UTC)
    file, _ = back_up(engine, tmp_path / "kept.zip", now=now)
    url = f"sqlite:///{tmp_path / 'again.db'}"
    restore(file, url, now=now)
    again = open_engine(url)
    with Session(again) as session:
        assert editions(session) == [found]
        assert json.loads(shown_in(session, found.number)) == SHOWN
        assert verify(session, rebuild=True).head == found.entry
    again.dispose()
