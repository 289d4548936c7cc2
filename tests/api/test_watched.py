"""Readings due, removals, dragging brakes and the model fit: pages, files and JSON say the same."""

import csv
import datetime as dt
import io
import json
from dataclasses import replace

import pytest

from api import cli, due_first
from api.pages.frame import Frame
from api.pages.readings_due import answer, lines_of
from api.studies import ask
from lifecycle.study import changeouts
from tests.api.shown_fleet import LAST


def test_readings_due_by_brake_as_json_and_as_a_file(shown_client):
    found = shown_client.get("/api/v1/readings-due").json()
    assert len(found) == 8
    low = next(each for each in found if each["serial"] == "LOW-1")
    assert (low["why"], low["latest_on"], low["kind"]) == ("at limit", f"{LAST}", "observed")
    rows = list(csv.DictReader(io.StringIO(shown_client.get("/readings-due?format=csv").text)))
    assert [row["latest_on"] for row in rows] == [each["latest_on"] for each in found]


def test_a_smaller_chance_brings_the_days_forward(shown_client):
    usual, early = (
        {each["serial"] + each["brake_type"]: each["latest_on"] for each in shown_client.get(address).json()}
        for address in ("/api/v1/readings-due", "/api/v1/readings-due?level=0.01")
    )
    assert all(early[brake] <= day for brake, day in usual.items())
    assert early != usual
    assert shown_client.get("/api/v1/readings-due?level=0.6").status_code == 422


def test_the_page_says_no_later_than_the_programme_and_whose_chance_it_is(shown_client):
    page = shown_client.get("/readings-due").text
    assert "No later than the maintenance programme; earlier suggested." in page
    assert "start value of this program" in page
    assert "at or below the limit already" in page
    assert "start value of this program" not in shown_client.get("/readings-due?level=0.05").text


def test_a_base_has_its_own_readings_due(shown_client):
    found = shown_client.get("/api/v1/readings-due?base=Away").json()
    assert {each["registration"] for each in found} == {"ZZ-B"}


def test_aircraft_without_a_day_are_counted_in_none():
    assert answer((), LAST) == "No brakes are installed on record here."
    assert lines_of(None, (), dt.date(2026, 1, 1)) == ()


def test_removals_say_what_was_watched(shown_client):
    found = shown_client.get("/api/v1/removals").json()
    total = {each["brake_type"]: each for each in found["rates"] if each["cause"] == "all unscheduled"}
    # The one leak came before its aircraft's log began: it was not watched, and its stay adds no landings.
    assert total["S-100"]["landings"] == pytest.approx(4 * 4 * 149, rel=0.02)
    page = shown_client.get("/removals").text
    assert "Why do brakes come off early, and how often?" in page
    assert shown_client.get("/removals/figures.json").status_code == 200


def test_the_model_fit_has_its_charts_by_type(shown_client):
    found = shown_client.get("/api/v1/diagnostics").json()
    assert [each["brake_type"] for each in found] == ["C-200", "S-100"]
    figures = shown_client.get("/model-fit/figures.json?type=S-100").json()
    assert set(figures) == {"number", "correlation", "quantiles"}
    assert shown_client.get("/model-fit?type=NONE").status_code == 422
    rows = list(csv.DictReader(io.StringIO(shown_client.get("/model-fit?format=csv").text)))
    assert [row["brake_type"] for row in rows] == ["C-200", "S-100"]


def test_the_model_fit_as_a_table_a_file_and_json(shown_client, capsys):
    url = shown_client.app.state.settings.db

    def printed(*words):
        assert cli.main(["model-fit", "--db", url, *words]) == 0
        return capsys.readouterr().out

    assert printed("--type", "S-100").splitlines()[1].startswith("S-100")
    rows = list(csv.DictReader(io.StringIO(printed("--format", "csv"))))
    assert rows == list(csv.DictReader(io.StringIO(_table(shown_client.get("/model-fit?format=csv").text))))
    told = json.loads(printed("--format", "json"))
    assert told == shown_client.get("/api/v1/diagnostics").json()
    assert {"by_number", "lags", "curvature", "processes", "influential"} < set(told[0])


def _table(text):
    """The file without the lines above its header."""
    lines = text.lstrip("\ufeff").splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("brake_type"))
    return "\n".join(lines[first:])


def test_dragging_brakes_as_json(shown_client):
    found = shown_client.get("/api/v1/dragging").json()
    assert all(each["cusum"] > 4 and each["side"] in ("faster", "slower") for each in found)


def test_today_names_brakes_whose_last_readings_are_copies_unless_they_are_due_already(shown_app):
    """The shown fleet with four copies told of every brake."""
    study = ask(shown_app.state.engine, on=None, known_on=None, seed=1)
    changes = changeouts(study)
    frame = Frame("Today", "", "/", {})
    assert not due_first._copied(frame, study, changes).count
    fit = replace(study.fit, posterior=study.fit.posterior.assign(copied=4))
    item = due_first._copied(frame, replace(study, fit=fit), changes)
    named = [told.partition(" on ")[0] for told, _ in item.each]
    assert item.count == len(named)
    assert named == [each.serial for each in changes if each.serial != "LOW-1"]
    assert all(link.startswith("/brake?serial=") for _, link in item.each)
