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


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0.72, 0.9, "72 % to 90 % goes"),
        (0.72, 1.2, "72 % or more goes"),
        (-0.2, 0.3, "at most 30 % goes"),
        (-0.4, -0.1, "hardly any goes"),
        (1.1, 1.4, "all goes"),
    ],
)
def test_energy_is_told_as_the_part_of_wear_that_goes_with_it(low, high, said):
    (told,) = by_energy([DrivenType("S-1", "steel", 0.03, (driver("landing energy", low=low, high=high),))])
    assert f"Of the wear of S-1 (steel), {said} with landing energy" in told.replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_a_range_wider_than_the_question_is_told_as_not_known_yet():
    types = [
        DrivenType("C-1", "carbon", 0.02, (driver("landing energy", low=-1.42, high=2.9),)),
        DrivenType("C-2", "carbon", 0.02, (driver("landing energy", low=0.18, high=2.12),)),
        DrivenType("C-3", "carbon", 0.02, (driver("season"),)),
    ]
    told, unmeasured = (each.replace("\N{NO-BREAK SPACE}", " ") for each in by_energy(types))
    assert told.startswith("The records do not tell yet whether wear goes with the energy")
    assert (
        "from \N{MINUS SIGN}140 % to 290 % for C-1 (carbon) and from 20 % to 210 % for C-2 (carbon)." in told
    )
    assert unmeasured.startswith("Heavy and light landings of C-3 (carbon) are not told apart on record")


def test_an_effect_wider_than_a_landing_on_both_sides_of_none_is_too_few_to_tell():
    assert not driver("rejected take-offs", effect=-10.3, low=-22.4, high=1.8).told
    assert driver("rejected take-offs", effect=3.0, low=1.5, high=4.5).told
    assert driver("touch-and-gos", effect=-0.04, low=-0.08, high=0.0).told


def test_hardly_better_is_not_told_as_a_finding():
    types = [DrivenType("S-1", "steel", 0.03, (driver("landing energy", criterion_gain=0.13),))]
    assert answer(types).startswith("Nothing on record explains wear better")


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
    assert "The ranges count every run for itself" in page.text
    assert "may be further from zero than its effect" in page.text
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
