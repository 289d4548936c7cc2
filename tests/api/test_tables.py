import csv
import io
from dataclasses import dataclass, field

import pytest
from openpyxl import load_workbook

from api.tables import download
from db.imports.quoting import unquoted


@dataclass(frozen=True)
class Row:
    serial: str
    pin_mm: float | None
    elements: dict[str, float] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


RISKY = ("=1+1", "+A1", "-2", "@SUM(A1)", "\ttab", "plain", "S310-0052")


def read_csv(answer):
    return list(csv.DictReader(io.StringIO(answer.body.decode())))


def test_a_file_has_a_column_a_field_and_one_level_of_names():
    answer = download([Row("A", 1.5, {"fuel": 2.0}, ("odd", "late"))], name="rows", form="csv")
    assert read_csv(answer) == [{"serial": "A", "pin_mm": "1.5", "fuel": "2.0", "warnings": "odd; late"}]
    assert answer.headers["content-disposition"] == 'attachment; filename="rows.csv"'


@pytest.mark.parametrize("text", RISKY)
def test_no_text_of_a_csv_runs_as_a_formula_and_each_reads_back_equal(text):
    cell = read_csv(download([Row(text, None)], name="rows", form="csv"))[0]["serial"]
    assert not cell.startswith(("=", "+", "-", "@", "\t"))
    assert unquoted(cell) == text


@pytest.mark.parametrize("text", RISKY)
def test_a_workbook_holds_texts_as_texts_and_numbers_as_numbers(text):
    sheet = load_workbook(io.BytesIO(download([Row(text, -2.5)], name="rows", form="xlsx").body)).active
    assert [cell.value for cell in sheet[1]][:2] == ["serial", "pin_mm"]
    assert sheet["A2"].data_type == "s"
    assert unquoted(sheet["A2"].value) == text
    assert (sheet["B2"].data_type, sheet["B2"].value) == ("n", -2.5)
    assert sheet.freeze_panes == "A2"


def test_a_file_of_nothing_is_empty():
    assert read_csv(download([], name="rows", form="csv")) == []
