"""What comes out of the process that opens uploads is what an import reads from the same file; malformed files too."""

import datetime as dt
import io
import random

import pytest
from openpyxl import Workbook

from db.chain import Act, locked_head
from db.errors import LedgerError, RowError
from db.imports.loading import Offer, load, try_load
from db.imports.matching import Matching, matched
from db.imports.written import PLAIN, Written
from db.session import Session
from db.uploads.apart import read_apart
from db.uploads.limits import MOST_ROWS
from db.uploads.opening import open_upload
from db.uploads.spool import Part, parts_of, source_of, spooled
from tests.db.conftest import TODAY
from tests.db.good_folder import TABLES, rows_of
from tests.db.test_import_corrupted import MARKS
from tests.db.test_import_wrong_files import contents

ACT = Act("ann", "form", "import")
ON_SQLITE = pytest.mark.parametrize("loaded", ["sqlite"], indirect=True)


def book(*rows, title="landings"):
    made, out = Workbook(), io.BytesIO()
    made.active.title = title
    for row in rows:
        made.active.append(row)
    made.save(out)
    return out.getvalue()


def cells(part, written=PLAIN):
    return [
        [n, *texts]
        for rows in source_of(part.title, part.plain, written).rows
        for n, texts in zip(rows.numbers, rows.texts, strict=True)
    ]


def test_a_csv_comes_out_with_its_rows_numbers_and_leading_zeros(tmp_path):
    content = 'serial,note\n0017,\u00e9\n\n 007 ,"a,b"\n'.encode()
    part = read_apart("brakes.csv", content, PLAIN)[0]
    assert (part.title, part.header, part.rows) == ("brakes", ("serial", "note"), 2)
    assert cells(part) == [[2, "0017", "\u00e9"], [4, " 007 ", "a,b"]]


def test_a_workbook_is_told_by_its_content_and_its_cells_as_the_file_was_said_to_write_them():
    content = book(["serial", "day", "hours"], ["0017", dt.date(2026, 3, 14), 2.5])
    written = Written(decimal="comma", days="day-month-year")
    part = read_apart("liste.csv", content, written)[0]
    assert (part.title, cells(part, written)) == ("landings", [[2, "0017", "14-03-2026", "2,5"]])


def test_an_encoding_is_taken_as_said_and_never_guessed():
    content = "base,name\nEast,\u00c9ast\n".encode("cp1252")
    assert cells(read_apart("bases.csv", content, Written("windows-1252"))[0])[0][2] == "\u00c9ast"
    (refused,) = read_apart("bases.csv", content, PLAIN)
    assert (refused.row, refused.rule) == (2, "is not text in UTF-8")
    utf16 = "base\nEast\n".encode("utf-16")
    assert cells(read_apart("bases.csv", utf16, Written("utf-16"))[0]) == [[2, "East"]]
    assert "UTF-16" in read_apart("bases.csv", utf16, PLAIN)[0].rule


def test_a_formula_without_a_value_and_a_nul_are_refused():
    (part,) = read_apart("b.xlsx", book(["base", "name"], ["East", "=A2"], title="bases"), PLAIN)
    (rows,) = source_of(part.title, part.plain, PLAIN).rows
    assert [(error.row, error.column, error.rule) for error in rows.errors] == [
        (2, "name", "is a formula without a stored value")
    ]
    (nul,) = read_apart("bases.csv", b"base\nEa\0st\n", PLAIN)
    assert "NUL" in nul.rule


def test_as_many_rows_as_are_allowed_are_read_and_one_more_is_not():
    lines = b"base\n" + b"x\n" * MOST_ROWS
    assert read_apart("bases.csv", lines, PLAIN)[0].rows == MOST_ROWS
    (refused,) = read_apart("bases.csv", lines + b"x\n", PLAIN)
    assert isinstance(refused, RowError)
    assert str(MOST_ROWS) in refused.rule


def corrupted(name, seed):
    """A file of the good folder, spoilt in one to four places, or as a workbook with some of its bytes changed."""
    dice = random.Random(seed)
    rows = rows_of(TABLES[name])
    table = [list(rows[0]), *(list(row.values()) for row in rows)]
    content = (
        book(*table, title=name)
        if dice.random() < 0.3
        else "\n".join(",".join(row) for row in table).encode()
    )
    for _ in range(dice.randint(1, 4)):
        at, cut = dice.randrange(len(content)), dice.randint(0, 12)
        junk = dice.choice(MARKS) if dice.random() < 0.6 else dice.randbytes(dice.randint(0, 6))
        content = content[:at] + junk + content[at + cut :]
    return content


def offered(name, found):
    """What an upload offers, where its one table is of the name that it was sent under."""
    errors = tuple(each for each in found if isinstance(each, RowError))
    parts = [each for each in found if isinstance(each, Part) and each.title == name]
    assert all(error.rule and error.suggestion for error in errors)
    return Offer(tuple(source_of(name, part.plain, PLAIN) for part in parts[:1]), errors)


SEED = 20261125


@ON_SQLITE
def test_sixty_malformed_uploads_are_refused_in_words_or_could_be_taken_whole(loaded):
    with Session(loaded) as session:
        head = locked_head(session)
        for seed in range(SEED, SEED + 60):
            name = sorted(TABLES)[seed % len(TABLES)]
            found = parts_of(spooled(name, open_upload(name, corrupted(name, seed), PLAIN)))
            tried = try_load(session, offered(name, found), ACT, approved=False, today=TODAY)
            assert all(error.rule and error.suggestion for error in tried.errors)
            assert locked_head(session) == head


@pytest.mark.long
@ON_SQLITE
def test_a_thousand_malformed_uploads_are_refused_in_words_or_taken_whole(loaded):
    before = contents(loaded)
    for seed in range(SEED, SEED + 1_000):
        name = sorted(TABLES)[seed % len(TABLES)]
        offer = offered(name, read_apart(name, corrupted(name, seed), PLAIN))
        with Session(loaded) as session:
            try:
                load(session, offer, ACT, approved=False, today=TODAY)
            except LedgerError:
                session.commit()  # the refused load left nothing to commit
            else:
                session.rollback()
        assert contents(loaded) == before


def test_a_header_that_a_source_no_longer_has_or_did_not_have_is_named(tmp_path):
    matching = Matching({"Tag": "day", "Reg": "registration", "Rest": ""}, constants={"full_stops": "1"})
    part = read_apart("l.csv", b"Reg,Day,Rest,New\nZZ-A,2026-01-01,,\n", PLAIN)[0]
    _, errors = matched("landings", source_of("l", part.plain, PLAIN), matching)
    assert [(error.column, error.rule[:40]) for error in errors] == [
        ("Day", "is a column that was not there when the "),
        ("New", "is a column that was not there when the "),
        ("Tag", "a column of this source is missing; it g"),
    ]
