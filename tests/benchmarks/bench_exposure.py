"""
Speed of exposure and flying at the size of the world's airliners, against a plain count brake by brake.

Run ``python tests/benchmarks/bench_exposure.py`` (about 4 GB; ``--aircraft 3000`` for a tenth of it). All invented.
"""

import argparse
import datetime as dt
import resource
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "lifecycle")]

from plain_exposure import plain_runs  # noqa: E402 the paths above come first

from lifecycle.exposure import measure_runs  # noqa: E402 the same
from lifecycle.flying import learn_flying  # noqa: E402 the same
from lifecycle.observations import Records, records_from  # noqa: E402 the same

FIRST, ON = pd.Timestamp("2024-01-01"), dt.date(2024, 12, 31)
DAYS, POSITIONS, READINGS = 366, 8, 12


def world(aircraft: int, seed: int) -> Records:
    """Aircraft with eight brakes each, a row every day of a year, and twelve readings a brake."""
    rng = np.random.default_rng(seed)
    brakes = aircraft * POSITIONS
    codes = np.arange(1, aircraft + 1)
    days = FIRST + pd.to_timedelta(np.arange(DAYS), unit="D")
    read = rng.integers(0, DAYS, (brakes, READINGS))
    names = tuple("12345678")
    return records_from(
        {
            "aircraft_types": pd.DataFrame(
                {
                    "aircraft_type": ["wide"],
                    "positions": [names],
                    "position_groups": [tuple("ooiiiioo")],
                    "landing_mass_kg": [180e3],
                    "touchdown_speed_kt": [140.0],
                }
            ),
            "brake_types": pd.DataFrame({"brake_type": ["B"], "material": ["carbon"], "new_pin_mm": [50.0]}),
            "wear_limits": pd.DataFrame(
                {
                    "brake_type": ["B"],
                    "convention": ["left"],
                    "limit_nm": [5_000_000],
                    "at_limit": ["off"],
                    "effective_on": [FIRST],
                }
            ),
            "aircraft": pd.DataFrame(
                {
                    "aircraft": codes,
                    "registration": codes.astype(str),
                    "aircraft_type": "wide",
                    "base": "Home",
                }
            ),
            "brakes": pd.DataFrame(
                {
                    "brake": np.arange(1, brakes + 1),
                    "serial": np.arange(1, brakes + 1).astype(str),
                    "brake_type": "B",
                }
            ),
            "installations": pd.DataFrame(
                {
                    "brake": np.arange(1, brakes + 1),
                    "aircraft": np.repeat(codes, POSITIONS),
                    "position": np.tile(names, aircraft),
                    "installed_on": FIRST,
                    "starts_as": "new",
                }
            ),
            "deactivations": pd.DataFrame(
                {
                    "brake": np.arange(1, brakes + 1, 50),
                    "from_on": FIRST + pd.Timedelta(100, "D"),
                    "to_on": FIRST + pd.Timedelta(110, "D"),
                }
            ),
            "landings": pd.DataFrame(
                {
                    "aircraft": np.repeat(codes, DAYS),
                    "day": np.tile(days, aircraft),
                    "full_stops": rng.poisson(4.0, aircraft * DAYS).astype(float),
                }
            ),
            "pin_readings": pd.DataFrame(
                {
                    "record": np.arange(1, read.size + 1),
                    "brake": np.repeat(np.arange(1, brakes + 1), READINGS),
                    "day": (FIRST + pd.to_timedelta(read.ravel(), unit="D")),
                    "pin_nm": 50_000_000 - 80_000 * read.ravel(),
                    "resolution_nm": 100_000,
                    "convention": "left",
                    "unit": "mm",
                    "state": "accepted",
                }
            ),
        }
    )


def timed(call):
    """Result and processor seconds: other work on the machine does not count."""
    begun = time.process_time()
    return call(), time.process_time() - begun


def main() -> None:
    """Print seconds, and the ratio to the plain count a reading."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--aircraft", type=int, default=30_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    records, small = world(asked.aircraft, asked.seed), world(2, asked.seed)
    runs, measuring = timed(lambda: measure_runs(records, ON))
    flying, learning = timed(lambda: learn_flying(records, ON))
    months = np.arange(0, 481)[None, :] * 30
    _, looking_ahead = timed(lambda: flying.expected_landings(flying.aircraft.to_numpy()[:, None], months))
    _, counting = timed(lambda: plain_runs(small, ON))
    plain = counting / len(small.pin_readings)
    lines = [
        f"seed {asked.seed}: {len(runs.runs):,} runs, {len(runs.readings):,} readings",
        f"{len(records.landings):,} aircraft-days; processor seconds:",
        f"measure_runs {measuring:.2f}",
        f"learn_flying {learning:.2f}",
        f"expected_landings of every aircraft over 40 years by month {looking_ahead:.2f}",
        f"plain count {plain * 1e3:.2f} ms a reading, {plain * len(runs.readings) / measuring:,.0f} times as long",
        f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20:.1f} GB",
    ]
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
