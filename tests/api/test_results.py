"""The results on the command line and under /api/v1: the agreed fields, and the same objects on both."""

import csv
import io
import json

import pytest

from api import cli
from db.session import Session
from db.studies import head_now

# Fields may be added; none of these may be renamed or left out.
FIELDS = {
    "refit": ("study", "on", "known_on", "seed", "types", "brakes"),
    "refit.types": (
        "brake_type",
        "runs",
        "readings",
        "rate_mm_per_landing",
        "rate_low",
        "rate_high",
        "rate_sd",
        "path_sd",
        "measurement_sd",
        "warnings",
        "drivers",
    ),
    "refit.brakes": ("serial", "run", "rate_mm_per_landing", "rate_sd", "readings", "state"),
    "changeouts": (
        "serial",
        "brake_type",
        "registration",
        "position",
        "base",
        "pin_mm",
        "limit_mm",
        "read_on",
        "rate_mm_per_landing",
        "landings_p10",
        "landings_p50",
        "landings_p90",
        "date_p10",
        "date_p50",
        "date_p90",
        "kind",
        "warnings",
    ),
    "spares": ("base", "brake_type", "month", "mean", "p10", "p50", "p90", "stock", "short"),
    "cost": ("currency", "reference_type", "types"),
    "cost.types": (
        "brake_type",
        "landings",
        "cost_per_landing",
        "low",
        "high",
        "elements",
        "like_for_like_ratio",
        "ratio_low",
        "ratio_high",
        "warnings",
    ),
    "briefing": (
        "edition",
        "study",
        "currency",
        "npv",
        "npv_p10",
        "npv_p90",
        "payback_years_p10",
        "payback_years_p50",
        "payback_years_p90",
        "chance_by_retirement",
        "sir",
        "airr",
        "recommendation",
        "condition",
        "by_year",
        "drivers",
        "options",
        "assumptions",
    ),
    "briefing.by_year": ("year", "current", "proposed", "net", "cumulative"),
    "briefing.drivers": ("name", "low", "high", "npv_low", "npv_high"),
    "briefing.options": ("name", "npv"),
    "verify": ("facts", "head"),
}
ASKED = {
    "refit": (["--brakes"], {"brakes": "true"}),
    "changeouts": ([], {}),
    "spares": (["--months", "6"], {"months": "6"}),
    "cost": ([], {}),
    "briefing": (["--from", "S-100", "--to", "C-200"], {"from": "S-100", "to": "C-200"}),
    "verify": ([], {}),
}


@pytest.fixture
def told(shown_client, capsys):
    """What a command prints on the small fleet."""

    def tell(command, *words, form="json", status=0):
        url = shown_client.app.state.settings.db
        assert (
            cli.main([command, *ASKED.get(command, ([],))[0], *words, "--db", url, "--format", form])
            == status
        )
        return capsys.readouterr().out

    return tell


@pytest.mark.parametrize("command", ASKED)
def test_command_line_and_api_give_the_same_object(command, told, shown_client):
    answer = shown_client.get(f"/api/v1/{command}", params=ASKED[command][1])
    assert answer.status_code == 200, answer.text
    assert json.loads(told(command)) == answer.json()


@pytest.mark.parametrize("place", FIELDS)
def test_every_agreed_field_is_there(place, told):
    command, _, inner = place.partition(".")
    result = json.loads(told(command))
    found = result[inner] if inner else result
    rows = found if isinstance(found, list) else [found]
    assert rows
    for row in rows:
        assert [name for name in FIELDS[place] if name not in row] == []


def test_elements_of_a_landings_cost_sum_to_it_and_one_is_overhaul(told):
    for each in json.loads(told("cost"))["types"]:
        assert sum(each["elements"].values()) == pytest.approx(each["cost_per_landing"])
        assert "overhaul" in each["elements"]


def test_a_list_prints_as_csv_with_the_same_fields(told):
    rows = list(csv.DictReader(io.StringIO(told("changeouts", form="csv"))))
    assert [row["serial"] for row in rows] == [row["serial"] for row in json.loads(told("changeouts"))]
    assert set(FIELDS["changeouts"]) <= set(rows[0])


@pytest.mark.parametrize("form", ["csv", "json"])
def test_beside_csv_and_json_the_command_names_the_study_and_the_head_of_the_log(shown_client, form, capsys):
    engine = shown_client.app.state.engine
    with Session(engine) as session:
        head = head_now(session)
    assert cli.main(["removals", "--db", str(engine.url), "--format", form]) == 0
    assert capsys.readouterr().err.endswith(f", head of the log {head}\n")


def test_a_day_on_which_nothing_was_known_is_told_with_the_log_s_first(shown_client):
    nothing = shown_client.get("/api/v1/changeouts?known_on=2026-06-30")
    assert nothing.status_code == 409
    told = nothing.json()["detail"].replace("\N{NO-BREAK SPACE}", " ")
    assert told.startswith("no landings and no readings were known on 30 Jun 2026; the log begins on ")


def test_the_table_of_a_brief_ends_with_its_study_and_the_head_of_the_log(shown_client, capsys):
    told = shown_client.get("/api/v1/briefing?from=S-100&to=C-200").headers
    words = ["briefing", "--db", str(shown_client.app.state.engine.url), "--from", "S-100", "--to", "C-200"]
    assert cli.main(words) == 0
    out = capsys.readouterr().out
    assert f"\nstudy {told['Pinledger-Study']}, records as known on {told['Pinledger-Known-On']}, " in out
    assert out.endswith(f", head of the log {told['Pinledger-Head']}\n")


def test_every_result_names_in_its_headers_the_study_and_the_head_as_described(shown_client, told):
    with Session(shown_client.app.state.engine) as session:
        head = head_now(session)
    paths = shown_client.get("/api/v1/openapi.json").json()["paths"]
    named = {
        path
        for path, ways in paths.items()
        if "headers" in ways.get("get", {}).get("responses", {}).get("200", {})
    }
    assert {
        f"/api/v1/{each}" for each in ("refit", "changeouts", "spares", "cost", "briefing", "readings-due")
    } <= named
    study = json.loads(told("refit"))
    for path in ("refit", "changeouts?limit=1", "spares?limit=1", "cost"):
        headers = shown_client.get(f"/api/v1/{path}").headers
        assert headers["Pinledger-Study"] == study["study"]
        assert headers["Pinledger-Known-On"] == study["known_on"]
        assert headers["Pinledger-Head"] == head


def test_a_long_list_comes_in_pages_linked_to_each_other(shown_client):
    whole = shown_client.get("/api/v1/changeouts").json()
    address, pages = "/api/v1/changeouts?limit=3", []
    while address:
        answer = shown_client.get(address)
        assert answer.status_code == 200
        pages.append(answer.json())
        address = answer.links.get("next", {}).get("url")
    assert [len(page) for page in pages[:-1]] == [3] * (len(pages) - 1)
    assert [row for page in pages for row in page] == whole


def test_a_cursor_of_another_study_or_none_of_ours_is_refused(shown_client):
    assert shown_client.get("/api/v1/changeouts?cursor=zzz").status_code == 422
    other = shown_client.get("/api/v1/changeouts?limit=3").links["next"]["url"]
    assert shown_client.get(other.replace("on=2026-05-30", "on=2026-05-29")).status_code == 409


def test_a_study_asked_again_has_the_same_number_and_a_day_earlier_another(told):
    first = json.loads(told("refit"))
    assert json.loads(told("refit")) == first
    assert json.loads(told("refit", "--on", "2026-05-29"))["study"] != first["study"]


@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("/api/v1/briefing?from=S-100&to=NONE", 409, "NONE"),
        ("/api/v1/briefing?from=S-100", 422, "to"),
        ("/api/v1/changeouts?risk=2", 422, "risk"),
        ("/api/v1/changeouts?on=yesterday", 422, "on"),
        ("/api/v1/nothing", 404, "nothing answers at /api/v1/nothing; kinds of record are"),
    ],
)
def test_problems_are_told_as_problem_details(shown_client, address, status, words):
    answer = shown_client.get(address)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["status"] == status
    assert words in answer.json()["detail"] + answer.json()["title"]


def test_a_refusal_on_the_command_line_says_why_and_exits_with_one(shown_client, capsys):
    url = shown_client.app.state.settings.db
    words = ["briefing", "--from", "S-100", "--to", "NONE", "--db", url, "--format", "json"]
    assert cli.main(words) == 1
    printed = capsys.readouterr()
    assert json.loads(printed.out)["status"] == 409
    assert printed.err.splitlines()[-1].startswith("refused: ")
    assert "NONE" in printed.err


def test_a_ledger_that_was_never_made_is_refused(tmp_path, capsys):
    assert cli.main(["refit", "--db", str(tmp_path / "none.db")]) == 1
    assert "pinledger migrate" in capsys.readouterr().err


def test_nobody_is_let_in_without_a_session(shown_client):
    shown_client_cookies = dict(shown_client.cookies)
    shown_client.cookies.clear()
    try:
        assert shown_client.get("/api/v1/refit").status_code == 401
        assert shown_client.get("/").status_code == 401
    finally:
        shown_client.cookies.update(shown_client_cookies)
