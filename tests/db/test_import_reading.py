"""Folders and workbooks to typed rows, before any database is asked."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook

from db.errors import NotFoundError, RowsRefusedError
from db.files import FILES
from db.imports import rows_from
from db.imports.check import check_source
from db.imports.folder import open_all
from db.imports.refused import ERRORS_KEPT, Findings
from db.imports.source import ROWS_AT_ONCE, Meter
from tests.db.good_folder import good_folder

TODAY = dt.date(2026, 11, 25)


def check(path):
    """Frames by file, and everything that is wrong."""
    findings = Findings()
    sources, errors = open_all(path)
    findings.add(*errors)
    checked = {source.name: check_source(source, findings, Meter(None, 0), today=TODAY) for source in sources}
    return checked, findings


def check_text(tmp_path, name, text):
    (tmp_path / f"{name}.csv").write_bytes(text.encode() if isinstance(text, str) else text)
    checked, findings = check(tmp_path)
    return checked[name], findings


def found(findings):
    return [(error.row, error.column, error.rule) for error in findings.kept]


def workbook_of(folder, path):
    """The same rows as a person's workbook has them: numbers and days as such, names as text."""
    book = Workbook()
    book.remove(book.active)
    checked, _ = check(folder)
    for name, file in checked.items():
        rows = file.rows.drop(columns="row")
        sheet = book.create_sheet(name)
        sheet.append(list(rows.columns))
        for row in rows.astype("object").itertuples(index=False):
            values = [None if pd.isna(cell) else cell for cell in row]
            sheet.append([v.to_pydatetime() if isinstance(v, pd.Timestamp) else v for v in values])
    book.save(path)
    return path


def test_every_file_is_read_in_loading_order_with_its_types(tmp_path):
    checked, findings = check(good_folder(tmp_path / "good"))
    assert not findings.total, findings.kept
    assert list(checked) == [name for name in FILES if name in checked]
    landings = checked["landings"].rows
    assert list(landings["row"]) == list(range(2, 11))
    assert landings["full_stops"].dtype == np.float64
    assert landings["day"].dtype == "datetime64[s]"
    assert landings["registration"].dtype == "str"
    assert landings["note"].eq("").all()
    assert np.isnan(landings["full_stops"].iloc[5])
    assert checked["pin_readings"].rows["pin_2"].iloc[0] == "35.4"
    assert checked["brakes"].rows["serial"].iloc[0] == "0017"


def test_a_workbook_of_real_numbers_and_days_gives_the_same_rows_as_csv(tmp_path):
    folder = good_folder(tmp_path / "good")
    from_csv, _ = check(folder)
    from_book, findings = check(workbook_of(folder, tmp_path / "good.xlsx"))
    assert not findings.total, findings.kept
    for name, file in from_csv.items():
        pd.testing.assert_frame_equal(from_book[name].rows, file.rows)


def test_a_byte_order_mark_and_windows_line_ends_are_taken(tmp_path):
    checked, findings = check_text(tmp_path, "bases", b"\xef\xbb\xbfbase,name\r\nEast,\xc3\x89ast\r\n")
    assert not findings.total
    assert checked.rows[["base", "name"]].to_numpy().tolist() == [["East", "Éast"]]


def test_blank_lines_are_passed_over_and_still_counted(tmp_path):
    checked, findings = check_text(tmp_path, "bases", "base,name\nEast,\n\n,\nWest,\n\n")
    assert not findings.total
    assert checked.rows["row"].tolist() == [2, 5]


def test_a_line_break_within_quotes_does_not_count_as_a_row(tmp_path):
    checked, findings = check_text(tmp_path, "bases", 'base,name\nEast,"two\nlines"\nWest,"a ""b"", c"\n')
    assert not findings.total
    assert checked.rows["row"].tolist() == [2, 3]
    assert checked.rows["name"].tolist() == ["two\nlines", 'a "b", c']


def test_a_header_alone_is_a_file_without_rows(tmp_path):
    checked, findings = check_text(tmp_path, "bases", "base\n")
    assert not findings.total
    assert checked.whole
    assert len(checked.rows) == 0
    assert checked.rows["base"].dtype == "str"


def test_rows_are_numbered_through_across_the_parts_that_are_read_at_once(tmp_path):
    lines = "".join(f"B{number},\n" for number in range(ROWS_AT_ONCE + 1))
    checked, findings = check_text(tmp_path, "bases", f"base,name\n{lines}East,x\n")
    assert not findings.total
    assert checked.rows["row"].tolist() == list(range(2, ROWS_AT_ONCE + 4))
    assert checked.rows["base"].iloc[-1] == "East"


def test_errors_past_the_first_thousand_are_counted_and_not_kept(tmp_path):
    lines = "ZZ-AAA,2024-01-01,x\n" * (ERRORS_KEPT + 5)
    checked, findings = check_text(tmp_path, "landings", f"registration,day,full_stops\n{lines}")
    assert findings.total == ERRORS_KEPT + 5
    assert len(findings.kept) == ERRORS_KEPT
    assert len(checked.rows) == 0


def test_a_refused_cell_is_not_also_called_empty(tmp_path):
    _, findings = check_text(tmp_path, "stock", "base,brake_type,counted_on,serviceable\nEast,PL,3/4,-1\n")
    assert [(row, column) for row, column, _ in found(findings)] == [(2, "counted_on"), (2, "serviceable")]


def test_every_row_that_is_good_in_itself_is_kept(tmp_path):
    text = "registration,day,full_stops\nZZ-A,2024-01-01,1\nZZ-A,2024-1-2,1\nZZ-A,2024-01-03,1\n"
    checked, _ = check_text(tmp_path, "landings", text)
    assert checked.rows["row"].tolist() == [2, 4]


def test_names_of_refused_rows_are_remembered_as_lost(tmp_path):
    text = "serial,brake_type,landings_since_new\nS1,PL,-1\nS2,PL,1\n"
    checked, _ = check_text(tmp_path, "brakes", text)
    assert checked.lost == {"S1"}


def test_an_unclosed_quote_leaves_the_rows_before_it_and_says_that_the_file_is_not_whole(tmp_path):
    checked, findings = check_text(tmp_path, "bases", 'base,name\nEast,x\n"West,y\n')
    assert checked.rows["base"].tolist() == ["East"]
    assert not checked.whole
    assert found(findings)[0][0] == 3


def test_nothing_and_nowhere_are_said_to_be_so(tmp_path):
    with pytest.raises(NotFoundError, match="is not there"):
        open_all(tmp_path / "nowhere")
    with pytest.raises(NotFoundError, match="has nothing to import"):
        open_all(tmp_path)


def test_hidden_files_and_a_readme_are_not_records(tmp_path):
    (tmp_path / ".DS_Store").write_bytes(b"x")
    (tmp_path / "README.md").write_text("words", encoding="utf-8")
    (tmp_path / "bases.csv").write_text("base\nEast\n", encoding="utf-8")
    checked, findings = check(tmp_path)
    assert list(checked) == ["bases"]
    assert not findings.total


def test_one_csv_file_may_come_alone(tmp_path):
    (tmp_path / "bases.csv").write_text("base\nEast\n", encoding="utf-8")
    checked, _ = check(tmp_path / "bases.csv")
    assert checked["bases"].rows["base"].tolist() == ["East"]


def test_two_files_of_one_name_are_refused(tmp_path):
    for suffix in ("csv", "CSV"):
        (tmp_path / f"bases.{suffix}").write_text("base\nEast\n", encoding="utf-8")
    _, findings = check(tmp_path)
    assert [error.rule for error in findings.kept] == ["is there twice"]


def test_a_workbook_cell_with_a_time_a_truth_or_an_error_is_refused(tmp_path):
    book = Workbook()
    sheet = book.active
    sheet.title = "pin_readings"
    sheet.append(["serial", "day", "pin_1", "unit", "convention", "cold"])
    sheet.append(["S1", dt.datetime(2024, 1, 2, 10, 30), 12.4, "mm", "left", True])  # noqa: DTZ001 - as a sheet has it
    sheet.append(["#N/A", dt.date(2024, 1, 2), dt.timedelta(hours=3), "mm", "left", "yes"])
    book.save(tmp_path / "b.xlsx")
    _, findings = check(tmp_path / "b.xlsx")
    assert [(error.row, error.column, error.suggestion.split(";")[0]) for error in findings.kept] == [
        (3, "serial", "mend the formula, or leave the cell empty"),
        (2, "day", "write 2024-01-02, without a time"),
        (
            3,
            "pin_1",
            "write a number with a point, such as 12.4, or leave the cell empty where the value is not known",
        ),
        (2, "cold", "write yes"),
    ]


def test_a_workbooks_own_escapes_are_read_as_what_they_stand_for(tmp_path):
    book = Workbook()
    book.active.title = "bases"
    for row in (["base", "name"], ["_x005F_x000D_", "a_x000A_b"]):
        book.active.append(row)
    book.save(tmp_path / "b.xlsx")
    checked, _ = check(tmp_path / "b.xlsx")
    assert checked["bases"].rows[["base", "name"]].to_numpy().tolist() == [["_x000D_", "a\nb"]]


def test_rows_of_a_form_are_read_as_a_file_is():
    rows = rows_from(
        "pin_readings",
        [{"serial": "S1", "day": "2024-01-01", "pin_1": "12.40", "unit": "mm", "convention": "left"}],
        today=TODAY,
    )
    assert rows.loc[0, "pin_1"] == "12.40"
    assert rows.loc[0, "row"] == 1
    assert {column.name for column in FILES["pin_readings"].columns} <= set(rows.columns)


def test_rows_of_a_form_are_refused_with_every_error_at_once():
    with pytest.raises(RowsRefusedError) as caught:
        rows_from(
            "landings", [{"registration": "", "day": "3/4", "full_stops": "-1", "airport": "X"}], today=TODAY
        )
    assert {error.column for error in caught.value.errors} == {"registration", "day", "full_stops", "airport"}
