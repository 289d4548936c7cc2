"""
Generate the invented fleet's files into a folder: `python -m seed_data.generate FOLDER [--fleets N] [--seed S]`.

The same scenario gives the same bytes. What is true of every heat sink is returned, not written into the folder.
"""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from seed_data.fleet import make_fleet
from seed_data.flying import fly, landing_sheets
from seed_data.gauge import pin_reading_sheets
from seed_data.history import history_files
from seed_data.manuals import manual_files
from seed_data.mishaps import plan_mishaps, strike
from seed_data.papers import write_file
from seed_data.planning import planning_files
from seed_data.scenario import Scenario, read_scenario
from seed_data.service import Service


@dataclass(frozen=True)
class GeneratedFleet:
    """
    The folder written, and the truth behind it.

    `runs`: one row a heat sink run that flew: serial, brake_type, run (1, 2, ... of the brake), rate_mm_per_landing
    (over the bases and the position it flew in, without path noise), landings (braked).
    `types`: one row a brake type: mean and spread of the heat sinks' rates at the mean of the bases and position groups
    where the type flew, and path_sd, measurement_sd as in the scenario.
    """

    folder: Path
    seed: int
    runs: pd.DataFrame
    types: pd.DataFrame


def generate(scenario: Scenario, folder: Path) -> GeneratedFleet:
    """Let the fleet fly its four years, and write down what its people wrote down."""
    fleet_rng, flying_rng, service_rng, sheets_rng, pins_rng = np.random.default_rng(scenario.seed).spawn(5)
    fleet = make_fleet(scenario, fleet_rng)
    flying = fly(scenario, fleet, flying_rng)
    service = Service(scenario, fleet, flying, service_rng)
    serve(service)
    files = {
        **manual_files(scenario, fleet),
        **history_files(service, sheets_rng),
        **planning_files(scenario, fleet),
        "landings": landing_sheets(scenario, fleet, flying, sheets_rng),
        "pin_readings": pin_reading_sheets(service, flying, pins_rng),
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in files.items():
        write_file(folder, name, rows)
    return GeneratedFleet(folder, scenario.seed, _true_runs(service), _true_types(service))


def serve(service: Service) -> None:
    """Every day of the log: fly, read, replace."""
    service.begin()
    planned = plan_mishaps(service)
    months = service.months
    for day in range(service.scenario.days):
        service.revise_limits(day)
        braked = service.fly(day)
        for index in service.read_due(day):
            service.replace(int(index), day, "worn")
        for index, reason in service.unscheduled(braked):
            service.replace(index, day, reason)
        strike(service, planned, day)
        if day == service.scenario.days - 1 or months[day + 1] != months[day]:
            service.count_stock(day)
    service.finish()


def _true_runs(service: Service) -> pd.DataFrame:
    brakes, kinds = service.journal.brakes, service.scenario.brake_types
    return pd.DataFrame(
        [
            {
                "serial": brakes[run.brake].serial,
                "brake_type": kinds[run.kind].brake_type,
                "run": run.number,
                "rate_mm_per_landing": run.expected_mm / run.landings,
                "landings": run.landings,
            }
            for run in service.journal.runs
            if run.landings > 0
        ]
    )


def _true_types(service: Service) -> pd.DataFrame:
    """What the heat sinks that flew have in common, at the mean of the bases and groups where their type was fitted."""
    scenario, stays = service.scenario, pd.DataFrame(service.journal.installations)
    stays["base"] = service.fleet.base[np.maximum(stays["installed_on"], 0), stays["aircraft"]]
    rows = []
    for code, kind in enumerate(scenario.brake_types):
        of_kind = stays[stays["kind"] == code]
        groups = {service.fleet.kind(row): 0 for row in of_kind["aircraft"].unique()}
        factors = [list(scenario.aircraft_types[row].group_factors.values()) for row in groups]
        place = service.base_factor[of_kind["base"].unique()].mean() * np.mean(factors)
        rates = place * np.array(
            [run.rate for run in service.journal.runs if run.kind == code and run.landings > 0]
        )
        row = {
            "brake_type": kind.brake_type,
            "rate_mm_per_landing": rates.mean(),
            "rate_sd": rates.std(ddof=1),
        }
        rows.append(row | {"path_sd": kind.path_sd_mm, "measurement_sd": kind.gauge_sd_mm})
    return pd.DataFrame(rows)


def main(words: Sequence[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="Write the invented demo fleet as a folder of CSV files.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--fleets", type=int, default=1, help="times as many aircraft (default 1)")
    parser.add_argument("--seed", type=int, help="another seed than the scenario's")
    asked = parser.parse_args(words)
    scenario = read_scenario().scaled(asked.fleets)
    if asked.seed is not None:
        scenario = replace(scenario, seed=asked.seed)
    made = generate(scenario, asked.folder)
    sys.stdout.write(f"seed {made.seed}\n{made.types.to_string(index=False)}\n{made.folder}\n")


if __name__ == "__main__":
    main()
