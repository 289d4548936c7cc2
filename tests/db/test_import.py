"""One load, all or nothing, on both databases."""

import datetime as dt

import pytest
from sqlalchemy import select

from db.chain import Act, append
from db.errors import RowsRefusedError
from db.imports import ImportRefusedError, load
from db.lookup import current
from db.records.brakes import Deactivation, Removal
from db.records.economics import AssumptionEntry, StockCount
from db.records.fleet import BaseStation, BrakeType, WearLimit
from db.records.log import ChainHead, Change
from db.records.readings import Landing
from tests.db.conftest import TODAY
from tests.db.good_folder import files, good_folder, write

ACT = Act("ann", "import", "import records")


@pytest.fixture
def good(tmp_path):
    return good_folder(tmp_path / "good")


def bring_in(session, path, *, approved=True, progress=None):
    loaded = load(session, path, ACT, approved=approved, today=TODAY, progress=progress)
    return {file.file: file for file in loaded.files}


def refused(session, path):
    with pytest.raises(ImportRefusedError) as caught:
        bring_in(session, path)
    return caught.value


def head(session):
    return session.execute(select(ChainHead.seq, ChainHead.record, ChainHead.hash)).one()


def some(folder, *names):
    """These files of the good folder."""
    return write(folder, {name: files()[name] for name in names})


def only(folder, **tables):
    """A folder with these files: rows as dicts."""
    return write(folder, tables)


def test_every_row_of_the_good_folder_is_added(session, good):
    loaded = bring_in(session, good)
    assert {name: file.added for name, file in loaded.items()} == {
        name: len(rows) for name, rows in files().items()
    }
    assert list(loaded) == [name for name in loaded if name in files()]
    changes = session.execute(select(Change.source, Change.act, Change.person).order_by(Change.seq)).all()
    assert changes[0] == ("import bases", "import records", "ann")
    assert {row.source for row in changes} == {f"import {name}" for name in files()}


def test_the_same_folder_again_adds_nothing_to_tables_or_log(ledger, good):
    before = head(ledger)
    again = bring_in(ledger, good)
    assert head(ledger) == before
    assert {name: file.same for name, file in again.items()} == {
        name: len(rows) for name, rows in files().items()
    }
    assert not any(file.added or file.completed or file.held for file in again.values())


def test_a_file_that_says_less_contradicts_nothing(ledger, tmp_path):
    rows = [{"base": "North"}, {"base": "South"}]
    assert bring_in(ledger, only(tmp_path / "less", bases=rows))["bases"].same == 2


def test_an_end_filled_in_later_completes_the_record(ledger, tmp_path):
    ended = [{"serial": "G-1", "from": "2024-06-20", "to": "2024-06-24", "reason": ""}]
    loaded = bring_in(ledger, only(tmp_path / "ended", deactivations=ended))["deactivations"]
    assert (loaded.added, loaded.completed) == (0, 1)
    found = ledger.execute(current(Deactivation).where(Deactivation.from_on == dt.date(2024, 6, 20))).one()
    assert (found.to_on, found.version) == (dt.date(2024, 6, 24), 2)


def test_a_removal_filled_in_later_is_a_removal(ledger, tmp_path):
    row = next(row for row in files()["installations"] if row["serial"] == "0018")
    row |= {"removed_on": "2024-09-01", "removal_reason": "worn", "recorded_on": "2024-09-03"}
    loaded = bring_in(ledger, only(tmp_path / "removed", installations=[row]))["installations"]
    assert (loaded.added, loaded.completed) == (0, 1)
    found = ledger.execute(current(Removal).where(Removal.removed_on == dt.date(2024, 9, 1))).one()
    assert (found.removal_reason, found.known_on) == ("worn", dt.date(2024, 9, 3))


def test_a_key_that_comes_again_in_one_file_with_its_end_is_read_as_the_later_entry(ledger, tmp_path):
    first = {"serial": "C-1", "from": "2024-05-01", "to": "", "recorded_on": "2024-05-01"}
    later = first | {"to": "2024-05-09", "recorded_on": "2024-05-10"}
    loaded = bring_in(ledger, only(tmp_path / "twice", deactivations=[first, later]))["deactivations"]
    assert (loaded.added, loaded.completed) == (1, 1)
    versions = ledger.execute(
        select(Deactivation.known_on, Deactivation.to_on)
        .where(Deactivation.from_on == dt.date(2024, 5, 1))
        .order_by(Deactivation.version)
    ).all()
    assert versions == [(dt.date(2024, 5, 1), None), (dt.date(2024, 5, 10), dt.date(2024, 5, 9))]


def test_a_record_is_known_from_the_day_it_was_first_written_down(session, tmp_path):
    rows = [{"base": "East", "recorded_on": "2019-05-01"}, {"base": "West", "recorded_on": ""}]
    bring_in(session, only(tmp_path / "bases", bases=rows))
    known = dict(session.execute(select(BaseStation.base, BaseStation.known_on)).all())
    assert known == {"East": dt.date(2019, 5, 1), "West": dt.datetime.now(dt.UTC).date()}


RANKED = ("bases", "aircraft_types", "brake_types", "wear_limits", "assumptions")


def test_limits_and_assumptions_of_an_administrator_count_as_approved_and_it_is_said(session, tmp_path):
    loaded = bring_in(session, some(tmp_path / "ranked", *RANKED))
    assert [flag.text for flag in loaded["wear_limits"].flags] == [
        "new limits count as approved: loaded by an administrator"
    ]
    assert "count as approved" in loaded["assumptions"].flags[0].text
    assert all(session.scalars(select(WearLimit.approved)))
    assert all(session.scalars(select(AssumptionEntry.approved)))


def test_limits_and_assumptions_of_anyone_else_wait_for_approval(session, tmp_path):
    loaded = bring_in(session, some(tmp_path / "ranked", *RANKED), approved=False)
    assert not loaded["wear_limits"].flags
    assert not any(session.scalars(select(WearLimit.approved)))
    assert not any(session.scalars(select(AssumptionEntry.approved)))


def test_a_row_that_says_not_approved_waits_whoever_loads_it(session, tmp_path):
    rows = [row | {"approved": "no"} for row in files()["wear_limits"]]
    folder = some(tmp_path / "ranked", *RANKED)
    loaded = bring_in(session, write(folder, {"wear_limits": rows}))
    assert not loaded["wear_limits"].flags
    assert not any(session.scalars(select(WearLimit.approved)))


def test_progress_never_goes_back_and_ends_at_its_total(session, tmp_path):
    steps = []
    bring_in(
        session,
        some(tmp_path / "some", "bases", "brake_types"),
        progress=lambda done, total: steps.append((done, total)),
    )
    done = [step for step, _ in steps]
    assert done == sorted(done)
    assert steps[-1] == (2 * 6, 2 * 6)


def test_errors_of_every_file_are_told_at_once(ledger, tmp_path):
    broken = {name: files()[name] for name in ("bases", "landings", "stock")}
    broken["bases"][0]["kind"] = "hangar"
    broken["landings"][1]["day"] = "3/4"
    broken["stock"][1]["brake_type"] = "PL-999"
    error = refused(ledger, write(tmp_path / "broken", broken))
    assert [(e.file, e.row, e.column) for e in error.errors] == [
        ("bases", 2, "kind"),
        ("landings", 3, "day"),
        ("stock", 3, "brake_type"),
    ]
    assert str(error).startswith("3 errors; nothing was kept; first: bases row 2, kind = 'hangar'")


def test_what_only_follows_from_a_refused_row_is_not_told(session, tmp_path):
    needed = (
        "bases",
        "aircraft_types",
        "brake_types",
        "aircraft",
        "aircraft_changes",
        "brakes",
        "installations",
    )
    broken = {name: files()[name] for name in needed}
    broken["brakes"][1]["landings_since_new"] = "-1"  # 0018, refused by its format
    broken["brakes"][5]["brake_type"] = "PL-999"  # C-1, refused by the ledger
    error = refused(session, write(tmp_path / "broken", broken))
    assert [(e.file, e.row, e.column) for e in error.errors] == [
        ("brakes", 3, "landings_since_new"),
        ("brakes", 7, "brake_type"),
    ]


def test_files_that_need_one_that_cannot_be_read_are_said_to_be_unchecked(session, good):
    (good / "brake_types.csv").write_bytes(b"")
    error = refused(session, good)
    assert [e.file for e in error.errors] == ["brake_types"]
    assert {"wear_limits", "brakes", "installations"} <= set(error.unchecked)
    assert "bases" not in error.unchecked
    assert "not checked to the end: brake_types" in str(error)


def test_a_refused_load_keeps_what_the_transaction_held_before_and_nothing_of_its_own(session, tmp_path):
    append(session, ACT, [(BaseStation, [{"base": "Before"}])])
    broken = {name: files()[name] for name in RANKED}
    broken["assumptions"][0]["unit"] = "EUR/h"
    refused(session, write(tmp_path / "broken", broken))
    session.commit()
    assert session.scalars(select(BaseStation.base)).all() == ["Before"]
    assert session.scalars(select(BrakeType.brake_type)).all() == []
    assert head(session).record == 1


def test_a_withdrawn_record_is_not_brought_back_by_its_file(ledger, good):
    found = ledger.execute(current(StockCount)).first()
    row = {key: value for key, value in found._mapping.items() if key not in ("id", "seq", "known_on")}
    append(ledger, ACT, [(StockCount, [row | {"version": 2, "supersedes": found.id, "withdrawn": True}])])
    again = bring_in(ledger, good)
    assert (again["stock"].added, again["stock"].same) == (0, 2)
    assert len(ledger.execute(current(StockCount)).all()) == 1


def test_blank_and_zero_landings_stay_apart(ledger):
    reported = ledger.scalars(select(Landing.full_stops).order_by(Landing.day, Landing.aircraft)).all()
    assert None in reported
    assert 0 in reported


def test_every_refusal_is_a_row_error_like_any_other(session, good):
    (good / "bases.csv").write_text("base;name\n", encoding="utf-8")
    assert isinstance(refused(session, good), RowsRefusedError)
