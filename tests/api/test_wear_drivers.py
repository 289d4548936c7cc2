import csv
import io
import json
from dataclasses import fields

import pytest

from api import cli
from api.pages.wear_drivers import DrivenType, DriverRow, answer, by_energy
from lifecycle.wear_drivers import WearDriver


def driver(name, **given):
    usual = {"level": "", "unit": "", "effect": 0.2, "low": 0.1, "high": 0.3, "chance": 0.99}
    usual |= {"criterion_gain": 5.0, "used": True, "effect_used": 0.19, "runs": 40}
    return WearDriver(driver=name, **(usual | given))


def test_the_answer_names_what_helps_and_on_which_types():
    types = [
        DrivenType("S-1", "steel", 0.03, (driver("landing energy"), driver("season", criterion_gain=-1.0))),
        DrivenType("C-1", "carbon", 0.02, (driver("touch-and-gos"), driver("landing energy"))),
    ]
    told = answer(types)
    assert told.startswith("Beside the number of landings, wear depends on landing energy (on S-1 and C-1)")
    assert "touch-and-gos (on C-1)" in told
    assert "season" not in told


def test_where_nothing_helps_the_answer_says_so():
    types = [DrivenType("S-1", "steel", 0.03, (driver("season", criterion_gain=-1.0),))]
    assert answer(types) == "Nothing on record explains wear better than the number of braked landings."


def test_energy_is_told_as_the_part_of_wear_that_goes_with_it():
    told = by_energy(DrivenType("S-1", "steel", 0.03, (driver("landing energy", low=0.72, high=1.0),)))
    assert "Of the wear of S-1 (steel), 72" in told
    assert by_energy(DrivenType("C-1", "carbon", 0.02, (driver("season"),))) == ""


def test_json_of_the_fit_carries_the_drivers_and_the_kept_study_does_not(shown_client):
    types = shown_client.get("/api/v1/refit").json()["types"]
    drivers = [each for one in types for each in one["drivers"]]
    assert drivers
    assert set(drivers[0]) == {field.name for field in fields(WearDriver)}
    for each in drivers:
        assert each["low"] <= each["effect"] <= each["high"]
        assert 0.5 <= each["chance"] <= 1.0


def test_the_page_and_its_file_show_the_same_effects(shown_client):
    page = shown_client.get("/wear-drivers")
    assert page.status_code == 200
    assert "8 in 10" in page.text
    rows = list(csv.DictReader(io.StringIO(_table(shown_client.get("/wear-drivers?format=csv").text))))
    types = shown_client.get("/api/v1/refit").json()["types"]
    told = [(one["brake_type"], each["effect"]) for one in types for each in one["drivers"]]
    assert [row["brake_type"] for row in rows] == [name for name, _ in told]
    assert [float(row["effect"]) for row in rows] == pytest.approx([effect for _, effect in told])


def _table(text):
    """The file without the lines above its header."""
    lines = text.lstrip("\ufeff").splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith(fields(DriverRow)[0].name))
    return "\n".join(lines[first:])


def test_as_a_table_the_types_stand_without_their_drivers(shown_client, capsys):
    url = shown_client.app.state.settings.db
    for form in ("table", "csv"):
        assert cli.main(["refit", "--db", url, "--format", form]) == 0
        assert "drivers" not in capsys.readouterr().out
    assert cli.main(["refit", "--db", url, "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["types"][0]["drivers"] is not None
