"""The generator: the same scenario gives the same bytes, another seed another fleet, and a larger one on demand."""

import pandas as pd
import pytest

from db.files import FILES
from seed_data.generate import generate, main


def test_the_same_scenario_gives_the_same_bytes_(scenario, made, tmp_path):
    again = generate(scenario, tmp_path / "again")
    names = sorted(path.name for path in made.folder.iterdir())
    assert names == sorted(path.name for path in again.folder.iterdir())
    for name in names:
        assert (made.folder / name).read_bytes() == (again.folder / name).read_bytes(), name


def test_every_file_has_only_columns_that_the_import_knows(files):
    for name, rows in files.items():
        unknown = [column for column in rows.columns if FILES[name].column(column) is None]
        assert not unknown, (name, unknown)
    assert set(FILES) - set(files) == {"counter_changes", "stock_movements"}


def test_the_truth_is_told_of_every_heat_sink_that_flew_and_not_written_down(made, files):
    fitted = files["installations"][files["installations"]["installed_on"] < "2026-10-31"]
    assert set(fitted["serial"]) == set(made.runs["serial"])
    assert not made.runs.duplicated(["serial", "run"]).any()
    assert "rate_mm_per_landing" not in {column for rows in files.values() for column in rows.columns}


@pytest.mark.long
def test_a_larger_fleet_has_as_many_times_the_aircraft(scenario, tmp_path):
    generate(scenario.scaled(2), tmp_path / "large")
    aircraft = pd.read_csv(tmp_path / "large" / "aircraft.csv")
    assert aircraft["aircraft_type"].value_counts().to_dict() == {"Larkfin 90": 52, "Orrery 260": 28}
    assert aircraft["registration"].is_unique


@pytest.mark.long
def test_another_seed_gives_another_fleet_and_the_command_prints_it(made, tmp_path, capsys):
    main([str(tmp_path / "other"), "--seed", "5"])
    assert "seed 5\n" in capsys.readouterr().out
    assert (made.folder / "landings.csv").read_bytes() != (tmp_path / "other" / "landings.csv").read_bytes()
