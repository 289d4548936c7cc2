"""Exported and imported again, the ledger is the same; no text in it runs in a spreadsheet."""

import csv
import datetime as dt
import itertools
import tempfile
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook
from sqlalchemy import select

from db.chain import Act, append
from db.errors import LedgerError
from db.export import export
from db.files import FILES
from db.files.column import DAYS, NUMBERS
from db.imports import load
from db.imports.quoting import RISKY, quoted
from db.imports.refused import CellError
from db.imports.texts import parse_name, parse_text
from db.lookup import current, known_by
from db.observe import observe, observe_assumptions
from db.records.brakes import Removal
from db.records.economics import AssumptionEntry, StockCount
from db.records.readings import Landing, PinReading, Ruling
from db.session import Session, open_engine
from tests.db.conftest import TODAY
from tests.db.good_folder import files, write

ACT = Act("ann", "import", "import records")
COUNTED = itertools.count()
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)  # a load takes too long to shrink by


@pytest.fixture
def empty(sqlite_url):
    """A session on an empty ledger; on SQLite, because the files are what is tested."""
    engine = open_engine(sqlite_url)
    with Session(engine) as session:
        yield session
    engine.dispose()


def bring_in(session, path):
    loaded = load(session, path, ACT, approved=True, today=TODAY)
    return {file.file: file for file in loaded.files}


def out(session, path, known_on=None):
    export(session, path, known=known_by(session, known_on))
    return path


def read(folder):
    """Cells of every file of a folder, as text."""
    texts = {}
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as text:
            texts[path.stem] = list(csv.reader(text))
    return texts


def column(folder, file, name):
    header, *rows = read(folder)[file]
    return [row[header.index(name)] for row in rows]


def observed(session):
    """What the arithmetic reads, with names for record numbers, so that two ledgers compare."""
    records = observe(session, on=TODAY, known=known_by(session))
    called = {
        "aircraft": records.aircraft.set_index("aircraft")["registration"],
        "brake": (records.brakes["serial"] + " " + records.brakes["brake_type"]).set_axis(
            records.brakes["brake"]
        ),
    }
    called["brake_back"] = called["brake"]
    frames = {}
    for field in fields(records):
        frame = getattr(records, field.name).drop(columns="record")
        for name in set(called) & set(frame):
            frame[name] = frame[name].map(called[name])
        frames[field.name] = frame.astype("str").sort_values(list(frame)).to_numpy().tolist()
    items = observe_assumptions(session, on=TODAY, known=known_by(session)).items
    frames["assumptions"] = sorted([str(vars(item) | {"record": 0}) for item in items])
    return frames


@pytest.fixture
def other(request, ledger):
    """A session on an empty ledger in the other kind of database."""
    kind = "postgresql" if ledger.get_bind().dialect.name == "sqlite" else "sqlite"
    engine = open_engine(request.getfixturevalue(f"{kind}_url"))
    with Session(engine) as session:
        yield session
    engine.dispose()


@pytest.mark.parametrize(
    ("loaded", "name"), [("postgresql", "out"), ("sqlite", "out.xlsx")], indirect=["loaded"]
)
def test_an_export_imported_into_an_empty_ledger_gives_equal_facts(ledger, other, tmp_path, name):
    loaded = bring_in(other, out(ledger, tmp_path / name))
    assert not any(file.held for file in loaded.values())
    assert observed(other) == observed(ledger)
    assert read(out(other, tmp_path / "again")) == read(out(ledger, tmp_path / "first"))


ON_SQLITE = pytest.mark.parametrize("loaded", ["sqlite"], indirect=True)


@ON_SQLITE
def test_an_export_is_the_same_bytes_each_time(ledger, tmp_path):
    first, second = out(ledger, tmp_path / "1"), out(ledger, tmp_path / "2")
    for path in first.iterdir():
        assert path.read_bytes() == (second / path.name).read_bytes()
    assert {path.stem for path in first.iterdir()} == {*FILES, "README", "SHA256SUMS"}


def test_an_export_tells_what_was_known_by_a_day(empty, tmp_path):
    rows = [{"base": "East", "recorded_on": "2019-05-01"}, {"base": "West", "recorded_on": "2020-05-01"}]
    bring_in(empty, write(tmp_path / "bases", {"bases": rows}))
    assert column(out(empty, tmp_path / "out", dt.date(2019, 12, 31)), "bases", "base") == ["East"]


def test_the_day_on_which_a_record_was_written_down_travels_with_it(empty, tmp_path):
    rows = [{"base": "East", "recorded_on": "2019-05-01"}]
    bring_in(empty, write(tmp_path / "bases", {"bases": rows}))
    assert column(out(empty, tmp_path / "out"), "bases", "recorded_on") == ["2019-05-01"]


def test_a_removal_written_down_later_takes_a_row_of_its_own_and_comes_back_as_known(
    empty, sqlite_copies, tmp_path
):
    needed = ("bases", "aircraft_types", "brake_types", "aircraft", "brakes", "installations")
    history = {name: files()[name] for name in needed}
    history["installations"] = history["installations"][:2]
    history["installations"][0] |= {"recorded_on": "2024-01-02", "removed_on": "", "removal_reason": ""}
    bring_in(empty, write(tmp_path / "first", history))
    late = {"removed_on": "2024-03-10", "removal_reason": "worn", "recorded_on": "2024-04-20"}
    late = history["installations"][0] | late
    bring_in(empty, write(tmp_path / "late", {"installations": [late]}))
    folder = out(empty, tmp_path / "out")
    rows = [row for row in read(folder)["installations"] if row[0] == "0017"]
    assert [(row[5], row[12]) for row in rows] == [("", "2024-01-02"), ("2024-03-10", "2024-04-20")]
    with sqlite_copies(f"again_{next(COUNTED)}") as url, Session(open_engine(url)) as again:
        bring_in(again, folder)
        assert set(again.scalars(select(Removal.known_on))) == set(empty.scalars(select(Removal.known_on)))
        assert read(out(again, tmp_path / "again")) == read(folder)


def test_an_assumption_that_waits_for_approval_still_waits_after_an_administrators_import(
    empty, sqlite_copies, tmp_path
):
    names = ("bases", "aircraft_types", "brake_types", "wear_limits", "assumptions")
    ranked = {name: files()[name] for name in names}
    load(empty, write(tmp_path / "files", ranked), ACT, approved=False, today=TODAY)
    folder = out(empty, tmp_path / "out")
    assert (
        set(column(folder, "assumptions", "approved"))
        == set(column(folder, "wear_limits", "approved"))
        == {"no"}
    )
    with sqlite_copies(f"again_{next(COUNTED)}") as url, Session(open_engine(url)) as again:
        bring_in(again, folder)
        assert not any(again.scalars(select(AssumptionEntry.approved)))


@ON_SQLITE
def test_held_and_ruled_readings_keep_their_states(ledger, empty, tmp_path):
    row = files()["pin_readings"][1]
    others = [row | {"pin_1": "35.5", "pin_2": "35.6"}, row | {"pin_1": "34.9", "pin_2": "35.1"}]
    loaded = bring_in(ledger, write(tmp_path / "others", {"pin_readings": others}))
    assert loaded["pin_readings"].held == 2
    ruled = ledger.scalars(
        current(PinReading).where(PinReading.state == "held").with_only_columns(PinReading.fact)
    )
    append(ledger, ACT, [(Ruling, [{"reading": ruled.first(), "state": "refused"}])])
    folder = out(ledger, tmp_path / "out")
    states = column(folder, "pin_readings", "state")
    assert sorted(states) == ["accepted"] * 6 + ["held", "refused"]
    bring_in(empty, folder)
    assert column(out(empty, tmp_path / "again"), "pin_readings", "state") == states


@ON_SQLITE
def test_corrected_facts_go_out_as_they_are_now_and_withdrawn_ones_stay_behind(ledger, empty, tmp_path):
    for model, changed in ((Landing, {"full_stops": 9}), (StockCount, {"withdrawn": True})):
        found = ledger.execute(current(model)).first()
        row = {key: value for key, value in found._mapping.items() if key not in ("id", "seq", "known_on")}
        row |= {"version": 2, "supersedes": found.id, "reason": "misread"} | changed
        append(ledger, ACT, [(model, [row])])
    folder = out(ledger, tmp_path / "out")
    assert "9" in column(folder, "landings", "full_stops")
    assert len(column(folder, "stock", "base")) == 1
    bring_in(empty, folder)
    assert observed(empty) == observed(ledger)


def test_a_text_that_looks_like_a_workbooks_escape_is_written_as_text(empty, tmp_path):
    bring_in(empty, write(tmp_path / "bases", {"bases": [{"base": "_x000D_"}]}))
    book = load_workbook(out(empty, tmp_path / "out.xlsx"))
    assert book["bases"]["A2"].value == "_x005F_x000D_"


@ON_SQLITE
def test_an_export_never_overwrites(ledger, tmp_path):
    folder, book = out(ledger, tmp_path / "out"), out(ledger, tmp_path / "out.xlsx")
    for path in (folder, book):
        with pytest.raises(LedgerError, match="name a new"):
            out(ledger, path)


def accepted(parse):
    """Texts that an import takes as they are."""

    def takes(text):
        try:
            return parse(text) == text and text.strip(" ") == text
        except CellError:
            return False

    return takes


RISKY_STARTS = [
    "",
    "=",
    "+",
    "-",
    "@",
    "'",
    "'=",
    "\t",
    "\n",
    "\uff1d",
    "=cmd|' /C calc'!A0",
    "0",
    "1e5",
    "_x000D_",
]
ANY = st.builds(
    "".join, st.tuples(st.sampled_from(RISKY_STARTS), st.text(st.characters(codec="utf-8"), max_size=8))
)
TEXTS = ANY.filter(accepted(parse_text))
NAMES = ANY.filter(accepted(parse_name)).filter(bool)
TABLES = ("bases", "brake_types", "brakes", "stock", "assumptions")


SWAPPED = ("Works", "PL-100", "0018")


@st.composite
def fleets(draw, cases=1):
    """Some files of the good folder with other names, texts and numbers in them; each case has names of its own."""
    good = {name: table for name, table in files().items() if name in TABLES}
    good["assumptions"] = [row for row in good["assumptions"] if not row["aircraft_type"]]
    names = draw(st.lists(NAMES, min_size=3 * cases, max_size=3 * cases, unique=True))
    rows = {name: [] for name in good}
    for case in range(cases):
        swap = dict(zip(SWAPPED, names[3 * case : 3 * case + 3], strict=True))
        for name, table in good.items():
            own = [row for row in table if case == 0 or set(SWAPPED) & set(row.values())]
            told = [{cell: quoted(swap.get(value, value)) for cell, value in row.items()} for row in own]
            rows[name] += [row | {"note": quoted(draw(TEXTS))} for row in told]
    rows["assumptions"][0]["value"] = repr(draw(st.floats(11000, 15000)))
    rows["assumptions"][1]["low"] = repr(draw(st.floats(0, 0.03)))
    return rows


def live_cells(path):
    """Cells that a spreadsheet would run."""
    if path.is_dir():
        for name, (header, *rows) in read(path).items():
            texts = [FILES[name].column(cell).kind not in (*NUMBERS, *DAYS) for cell in header]
            told = [cell for row in rows for cell, text in zip(row, texts, strict=True) if text]
            yield from (cell for cell in told if RISKY.match(cell) and not cell.startswith("'"))
    else:
        book = load_workbook(path, read_only=True)
        cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
        yield from (cell.value for cell in cells if cell.data_type == "f")
        book.close()


def comes_back_equal(copies, rows):
    """Import, export both ways, import each: equal, and nothing in them runs."""
    with (
        tempfile.TemporaryDirectory() as name,
        copies(f"one_{next(COUNTED)}") as one,
        copies(f"two_{next(COUNTED)}") as two,
        Session(open_engine(one)) as session,
        Session(open_engine(two)) as other,
    ):
        folder = Path(name)
        bring_in(session, write(folder / "in", rows))
        first = read(out(session, folder / "out"))
        for way in (folder / "out", out(session, folder / "out.xlsx")):
            assert not list(live_cells(way))
            bring_in(other, way)
            assert read(out(other, folder / f"again-{way.stem}{way.suffix[1:]}")) == first
            other.rollback()


# Names and texts that a file cannot hold are drawn again, and many are drawn.
@settings(max_examples=2, deadline=None, phases=PHASES, suppress_health_check=[HealthCheck.filter_too_much])
@given(rows=fleets(cases=2))
def test_whatever_the_texts_an_export_comes_back_equal(sqlite_copies, rows):
    comes_back_equal(sqlite_copies, rows)


@pytest.mark.long
@settings(max_examples=500, deadline=None, phases=PHASES)
@given(rows=fleets())
def test_whatever_the_texts_an_export_comes_back_equal_500_times(sqlite_copies, rows):
    comes_back_equal(sqlite_copies, rows)
