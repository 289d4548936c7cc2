import csv
import io
from dataclasses import dataclass, field

import pytest
from fastapi.routing import iter_route_contexts
from openpyxl import load_workbook

from api.tables import HEAD_SHOWN, asked_form, download
from db.imports.quoting import unquoted
from db.session import Session
from db.studies import head_now


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
    answer = download([Row("A", 1.5, {"fuel": 2.0}, ("odd", "late"))], name="rows", form="csv", head="")
    assert read_csv(answer) == [{"serial": "A", "pin_mm": "1.5", "fuel": "2.0", "warnings": "odd; late"}]
    assert answer.headers["content-disposition"] == 'attachment; filename="rows.csv"'


@pytest.mark.parametrize("text", RISKY)
def test_no_text_of_a_csv_runs_as_a_formula_and_each_reads_back_equal(text):
    cell = read_csv(download([Row(text, None)], name="rows", form="csv", head=""))[0]["serial"]
    assert not cell.startswith(("=", "+", "-", "@", "\t"))
    assert unquoted(cell) == text


@pytest.mark.parametrize("text", RISKY)
def test_a_workbook_holds_texts_as_texts_and_numbers_as_numbers(text):
    sheet = load_workbook(
        io.BytesIO(download([Row(text, -2.5)], name="rows", form="xlsx", head="").body)
    ).active
    assert [cell.value for cell in sheet[1]][:2] == ["serial", "pin_mm"]
    assert sheet["A2"].data_type == "s"
    assert unquoted(sheet["A2"].value) == text
    assert (sheet["B2"].data_type, sheet["B2"].value) == ("n", -2.5)
    assert sheet.freeze_panes == "A2"


def test_a_file_of_nothing_is_empty():
    assert read_csv(download([], name="rows", form="csv", head="")) == []


# What a page must be asked so that it has a table.
ASKED = {
    "/brake": {"serial": "LOW-1", "brake_type": "S-100"},
    "/claims": {"type": "S-100", "claimed": "900"},
    "/retrofit": {"from": "S-100", "to": "C-200"},
}


def exporting(app):
    """Every route that gives its table as a file, but for those of one upload or edition."""
    routes = [each for each in iter_route_contexts(app.routes) if getattr(each, "dependant", None)]
    return [
        each.path
        for each in routes
        if any(one.call is asked_form for one in each.dependant.dependencies) and "{" not in each.path
    ]


def test_every_table_taken_away_names_the_head_of_the_log(shown_app, shown_client):
    with Session(shown_app.state.engine) as session:
        head = head_now(session)[:HEAD_SHOWN]
    paths = exporting(shown_app)
    assert len(paths) > 12
    for path in paths:
        answer = shown_client.get(path, params={**ASKED.get(path, {}), "format": "csv"})
        assert f"-{head}.csv" in answer.headers.get("content-disposition", ""), path
