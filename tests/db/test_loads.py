"""A load is remembered and withdrawn whole, or not at all where later records rest on it."""

import pytest
from sqlalchemy import func, select

from db.base import Base
from db.chain import Act, append
from db.entry.corrections import correct, withdraw
from db.entry.loads import remember_load, withdraw_load
from db.errors import NotFoundError, RowsRefusedError
from db.imports import load
from db.imports.loading import try_load
from db.lookup import current
from db.recorded import KINDS, read_record
from db.records.brakes import Occupancy, Removal
from db.records.economics import Order
from db.records.readings import Landing, PinReading
from db.verify import verify
from tests.db.conftest import TODAY
from tests.db.good_folder import files, good_folder, write

ACT = Act("ann", "import files", "import")
BACK = Act("bea", "form", "withdraw a load", "the wrong year's file")
FILES = [{"name": "landings.csv", "sha256": "0" * 64}]


def bring_in(session, path):
    """Load and remember; the number of the load."""
    loaded = load(session, path, ACT, approved=True, today=TODAY)
    return remember_load(session, ACT, loaded, files=FILES)


def standing(session):
    """How many records of each kind stand, and where brakes are."""
    counts = {
        kind: session.execute(select(func.count()).select_from(current(model).subquery())).scalar_one()
        for kind, model in KINDS.items()
    }
    places = select(Occupancy.brake, Occupancy.position, Occupancy.from_on, Occupancy.to_on)
    return counts, sorted(map(str, session.execute(places)))


def landings(folder, *rows):
    return write(
        folder, {"landings": [dict(zip(("registration", "day", "full_stops"), r, strict=True)) for r in rows]}
    )


def test_a_load_that_adds_nothing_is_not_remembered(ledger, tmp_path):
    assert bring_in(ledger, good_folder(tmp_path / "again")) is None


def test_a_load_withdrawn_leaves_what_stood_before_and_can_be_loaded_again(ledger, tmp_path):
    before = standing(ledger)
    folder = landings(tmp_path / "in", ("ZZ-AAA", "2024-09-01", "4"), ("ZZ-BBB", "2024-09-01", "2"))
    number = bring_in(ledger, folder)
    assert standing(ledger) != before
    assert withdraw_load(ledger, BACK, number) == 2
    assert standing(ledger) == before
    mended = landings(tmp_path / "mended", ("ZZ-AAA", "2024-09-01", "5"), ("ZZ-BBB", "2024-09-01", "2"))
    again = load(ledger, mended, ACT, approved=True, today=TODAY)
    assert [(file.added, file.same) for file in again.files] == [(2, 0)]
    row = ledger.execute(current(Landing).where(Landing.full_stops == 5).order_by(Landing.id.desc())).first()
    assert row.version == 3
    assert verify(ledger, rebuild=True).facts


def test_a_whole_fleet_is_withdrawn_and_brought_back(session, tmp_path):
    folder = good_folder(tmp_path / "good")
    number = bring_in(session, folder)
    stood = standing(session)
    withdraw_load(session, BACK, number)
    counts, places = standing(session)
    assert set(counts.values()) == {0}
    assert places == []
    bring_in(session, folder)
    assert standing(session) == stood
    assert verify(session, rebuild=True).facts


def test_an_end_that_a_load_filled_in_is_open_again(ledger, tmp_path):
    before = standing(ledger)
    rows = {
        "installations": [
            files()["installations"][1] | {"removed_on": "2024-08-01", "removal_reason": "leak"}
        ]
    }
    number = bring_in(ledger, write(tmp_path / "in", rows))
    assert standing(ledger) != before
    withdraw_load(ledger, BACK, number)
    assert standing(ledger) == before
    number = bring_in(ledger, tmp_path / "in")
    assert number
    assert ledger.scalars(current(Removal).with_only_columns(func.count())).one() == before[0]["removals"] + 1


def test_a_day_that_a_load_filled_in_is_blank_again(ledger, tmp_path):
    order = files()["orders"][-1] | {"due_on": "2026-01-15"}
    open_order = order | {"due_on": "", "ordered_on": "2025-05-05"}
    bring_in(ledger, write(tmp_path / "open", {"orders": [open_order]}))
    number = bring_in(ledger, write(tmp_path / "due", {"orders": [open_order | {"due_on": "2026-01-15"}]}))
    withdraw_load(ledger, BACK, number)
    found = ledger.execute(
        current(Order).where(Order.ordered_on == TODAY.replace(year=2025, month=5, day=5))
    ).one()
    assert (found.due_on, found.version) == (None, 3)


def test_a_load_on_which_later_records_rest_stays_whole_and_says_which(ledger, tmp_path):
    rows = {"brakes": [{"serial": "N-1", "brake_type": "PL-100"}], "bases": [{"base": "East"}]}
    number = bring_in(ledger, write(tmp_path / "in", rows))
    installed = {"serial": "N-1", "registration": "ZZ-BBB", "position": "2", "installed_on": "2024-09-01"}
    bring_in(ledger, write(tmp_path / "later", {"installations": [installed | {"starts_as": "new"}]}))
    before = standing(ledger)
    with pytest.raises(RowsRefusedError, match="1 installations on record rest on its brakes, record"):
        withdraw_load(ledger, BACK, number)
    assert standing(ledger) == before


def test_a_record_corrected_since_holds_its_load_but_one_withdrawn_since_does_not(ledger, tmp_path):
    folder = landings(tmp_path / "in", ("ZZ-AAA", "2024-09-01", "4"), ("ZZ-BBB", "2024-09-01", "2"))
    number = bring_in(ledger, folder)
    one = ledger.execute(current(Landing).where(Landing.full_stops == 4).order_by(Landing.id.desc())).first()
    act = Act("cyr", "form", "correct", "misread")
    correct(ledger, act, one.fact, version=f"{one.fact}-1", values={"full_stops": "3"}, today=TODAY)
    with pytest.raises(RowsRefusedError, match="1 of its landings were changed since"):
        withdraw_load(ledger, BACK, number)
    withdraw(ledger, act, one.fact, version=read_record(ledger, one.fact).tag)
    assert withdraw_load(ledger, BACK, number) == 1


def test_a_second_persons_ruling_falls_with_the_reading_it_is_about(ledger, tmp_path):
    reading = files()["pin_readings"][1] | {"pin_1": "34.9", "pin_2": "35.1"}
    number = bring_in(ledger, write(tmp_path / "in", {"pin_readings": [reading]}))
    held = ledger.scalars(
        current(PinReading).where(PinReading.state == "held").with_only_columns(PinReading.fact)
    ).one()
    append(ledger, Act("cyr", "form", "rule"), [(KINDS["rulings"], [{"reading": held, "state": "accepted"}])])
    before = standing(ledger)[0]
    withdraw_load(ledger, BACK, number)
    after = standing(ledger)[0]
    assert (after["pin_readings"], after["rulings"]) == (before["pin_readings"] - 1, before["rulings"] - 1)


def test_a_load_is_withdrawn_once_with_a_reason_and_by_its_number(ledger, tmp_path):
    number = bring_in(ledger, landings(tmp_path / "in", ("ZZ-AAA", "2024-09-01", "4")))
    with pytest.raises(RowsRefusedError, match="needs a reason"):
        withdraw_load(ledger, ACT, number)
    withdraw_load(ledger, BACK, number)
    with pytest.raises(RowsRefusedError, match="was withdrawn by bea"):
        withdraw_load(ledger, BACK, number)
    with pytest.raises(NotFoundError, match="list of loads"):
        withdraw_load(ledger, BACK, number + 7)


def test_trying_a_load_keeps_nothing_and_counts_every_row(ledger, tmp_path):
    tables = list(Base.metadata.sorted_tables)
    before = [ledger.execute(select(func.count()).select_from(table)).scalar_one() for table in tables]
    rows = (
        ("ZZ-AAA", "2024-09-01", "4"),
        ("ZZ-AAA", "2024-01-01", ""),
        ("ZZ-AAA", "2024-09-02", "four"),
        ("ZZ-XXX", "2024-09-01", "1"),
    )
    tried = try_load(ledger, landings(tmp_path / "in", *rows), ACT, approved=False, today=TODAY)
    file = tried.files[0]
    assert (file.rows, file.ready, file.same, file.wrong, file.waiting) == (4, 1, 1, 2, 0)
    assert [(error.row, error.column) for error in tried.errors] == [(4, "full_stops"), (5, "registration")]
    assert [
        ledger.execute(select(func.count()).select_from(table)).scalar_one() for table in tables
    ] == before
