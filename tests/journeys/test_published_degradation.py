"""
Published degradation data through the whole program: files, import, fit, forecast, as a user would.

NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.2.3: 15 units at three temperatures, degradation in percent read at
200, 500 and 1000 hours, 30 % being failure. Here a brake type is a temperature, a unit a brake, an hour a landing and a
percent a millimetre of pin used; 30 mm used is the limit.
"""

import contextlib
import csv
import datetime as dt
import io
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import linregress

from api import cli

DATA = Path(__file__).parent.parent / "reference" / "data" / "nist_apr423_degradation.csv"
START = dt.date(2025, 1, 1)
LANDINGS_A_DAY = 10
LAST_DAY = START + dt.timedelta(days=1000 // LANDINGS_A_DAY)


def published():
    return pd.read_csv(DATA)


def write(folder, name, rows):
    with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def write_folder(folder):
    """The published readings as the files a fleet would bring in; the rest is the least that they need."""
    data = published().assign(
        serial=lambda each: "U" + each["unit"].astype(str) + "-" + each["temp_C"].astype(str)
    )
    brakes = data.drop_duplicates("serial")
    types = [f"T{temperature}" for temperature in brakes["temp_C"].unique()]
    write(folder, "bases", [{"base": "LAB"}])
    write(folder, "aircraft_types", [{"aircraft_type": "RIG", "positions": "1"}])
    write(
        folder,
        "brake_types",
        [{"brake_type": each, "material": "carbon", "new_pin_mm": 150} for each in types],
    )
    write(
        folder,
        "wear_limits",
        [
            {
                "brake_type": each,
                "convention": "left",
                "limit": "120",
                "unit": "mm",
                "effective_on": START,
                "source": "30 % degradation",
            }
            for each in types
        ],
    )
    names = list(brakes["serial"])
    write(
        folder,
        "aircraft",
        [{"registration": f"R-{each}", "aircraft_type": "RIG", "base": "LAB"} for each in names],
    )
    write(
        folder,
        "brakes",
        [{"serial": row.serial, "brake_type": f"T{row.temp_C}"} for row in brakes.itertuples()],
    )
    write(
        folder,
        "installations",
        [
            {
                "serial": each,
                "registration": f"R-{each}",
                "position": "1",
                "installed_on": START,
                "starts_as": "new",
            }
            for each in names
        ],
    )
    # Work follows the day's flying: landings from the day after installation are counted by the evening's reading.
    days = [START + dt.timedelta(days=ahead) for ahead in range(1, (LAST_DAY - START).days + 1)]
    write(
        folder,
        "landings",
        [
            {"registration": f"R-{each}", "day": day, "full_stops": LANDINGS_A_DAY}
            for each in names
            for day in days
        ],
    )
    write(
        folder,
        "pin_readings",
        [
            {
                "serial": row.serial,
                "day": START + dt.timedelta(days=row.hours // LANDINGS_A_DAY),
                "pin_1": row.degradation_pct,
                "unit": "mm",
                "convention": "used",
            }
            for row in data.itertuples()
        ],
    )


def pinledger(*words):
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        assert cli.main(words) == 0
    return said.getvalue()


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """What the command line says of the published data."""
    folder = tmp_path_factory.mktemp("degradation")
    records = folder / "records"
    records.mkdir()
    write_folder(records)
    url = str(folder / "rig.db")
    pinledger("migrate", "--db", url)
    pinledger("import", str(records), "--db", url)
    return {
        "brakes": json.loads(pinledger("refit", "--brakes", "--db", url, "--format", "json"))["brakes"],
        "changeouts": json.loads(pinledger("changeouts", "--db", url, "--format", "json")),
    }


def test_hours_to_thirty_percent_are_those_of_each_units_line_through_the_origin(results):
    data = published()
    rates = {brake["serial"]: brake["rate_mm_per_landing"] for brake in results["brakes"]}
    for (unit, temperature), own in data.groupby(["unit", "temp_C"]):
        line = (own["hours"] * own["degradation_pct"]).sum() / (own["hours"] ** 2).sum()
        assert 30 / rates[f"U{unit}-{temperature}"] == pytest.approx(30 / line, rel=0.01), (unit, temperature)


def test_pooled_regression_of_what_was_read_has_the_published_slope(results):
    """Slope 0.81877 (0.05641), intercept -18.94337 (1.83343) over all 45 readings."""
    data = published()
    found = linregress(
        1e5 / (8.617 * (data["temp_C"] + 273.16)), np.log(30 * data["hours"] / data["degradation_pct"])
    )
    assert found.slope == pytest.approx(0.81877, abs=5e-6)
    assert found.stderr == pytest.approx(0.05641, abs=5e-6)
    assert found.intercept == pytest.approx(-18.94337, abs=5e-5)


def test_units_past_thirty_percent_are_due_now_and_no_others(results):
    data = published()
    past = data[data["degradation_pct"] >= 30]
    wanted = {f"U{row.unit}-{row.temp_C}" for row in past.itertuples()}
    due = {each["serial"] for each in results["changeouts"] if each["kind"] == "observed"}
    assert due == wanted
    assert len(due) == 5
    assert all(
        each["landings_p50"] == 0 and each["date_p50"] == LAST_DAY.isoformat()
        for each in results["changeouts"]
        if each["serial"] in due
    )
