"""From the true length of a pin to what stands on the paper: gauge, unit, rounding, and slips."""

from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.units import NM_PER_MM, NM_PER_UNIT
from seed_data.brakes import by_kind
from seed_data.flying import Flying
from seed_data.papers import calendar, days_late
from seed_data.scenario import Scenario
from seed_data.service import Service
from seed_data.slips import make_slips

MM_PER_INCH: Final = NM_PER_UNIT["in"] / NM_PER_MM
COARSE_MM: Final = 0.5
READERS_A_BASE: Final = 8
COUNTER_SHARE: Final = 0.3  # of the readings of a base whose sheets tell running totals
UNREAD_ABOVE_MM: Final = 3.0  # nobody leaves out the value near the limit
UNSAID_SHARE: Final = 0.08  # brakes applied and cold left blank


def pin_reading_sheets(service: Service, flying: Flying, rng: np.random.Generator) -> pd.DataFrame:
    """Rows of pin_readings.csv."""
    scenario = service.scenario
    seen = _seen(service)
    _conditions(scenario, seen, rng)
    _measure(scenario, seen, rng)
    _choose_gauge(scenario, seen, rng)
    seen["recorded"] = seen["day"] + days_late(scenario, len(seen), rng)
    _write_pins(seen)
    make_slips(scenario, seen, rng)
    _rule(scenario, seen, rng)
    return _columns(service, flying, seen[seen["recorded"] < scenario.days], rng)


def _seen(service: Service) -> pd.DataFrame:
    parts = [pd.DataFrame(part) for part in service.journal.readings if len(part["position"])]
    seen = pd.concat(parts, ignore_index=True)
    kinds = np.array([brake.kind for brake in service.journal.brakes])
    seen["kind"] = kinds[seen["brake"]]
    seen["aircraft"] = service.positions.craft[seen["position"]]
    seen["base"] = service.fleet.base[seen["day"], seen["aircraft"]].astype(np.int64)
    return seen


def _conditions(scenario: Scenario, seen: pd.DataFrame, rng: np.random.Generator) -> None:
    """A few pins are read hot, or with brakes released: then they read long."""
    habits = scenario.readings
    draw = rng.random(len(seen))
    hot = draw < habits.hot_share
    released = ~hot & (draw < habits.hot_share + habits.released_share)
    seen["state"] = np.where(hot, "hot", np.where(released, "released", "as asked")).astype(object)
    seen["long_mm"] = np.where(hot | released, rng.uniform(*habits.reads_long_mm, len(seen)), 0.0)


def _measure(scenario: Scenario, seen: pd.DataFrame, rng: np.random.Generator) -> None:
    """Both pins through the gauge, length left, millimetres; never longer than new, never below nothing."""
    kinds, kind = scenario.brake_types, seen["kind"]
    gauge, new = by_kind(kinds, "gauge_sd_mm")[kind], by_kind(kinds, "new_pin_mm")[kind]
    shorter = seen["left"] + seen["long_mm"] + gauge * rng.standard_normal(len(seen))
    longer = seen["left"] + seen["second"] + seen["long_mm"] + gauge * rng.standard_normal(len(seen))
    seen["two_pins"] = by_kind(kinds, "pins")[kind] == 2
    first = seen["first_governs"] | ~seen["two_pins"]
    seen["pin_1_left"] = np.clip(np.where(first, shorter, longer), 0, new)
    seen["pin_2_left"] = np.clip(np.where(first, longer, shorter), 0, new)
    seen["new"] = new
    seen["convention"] = np.array([told.convention for told in kinds], dtype=object)[kind]


def _choose_gauge(scenario: Scenario, seen: pd.DataFrame, rng: np.random.Generator) -> None:
    """Unit and resolution by base; at some bases the first readers on the list round more coarsely."""
    bases = scenario.bases
    number = rng.integers(0, READERS_A_BASE, len(seen))
    coarse = number < np.array([base.coarse_share for base in bases])[seen["base"]] * READERS_A_BASE
    resolution = np.array([base.resolution for base in bases])[seen["base"]]
    seen["unit"] = np.array([base.unit for base in bases], dtype=object)[seen["base"]]
    seen["resolution"] = np.where(coarse, COARSE_MM, resolution)
    seen["decimals"] = np.where(seen["unit"] == "in", 3, 1)
    seen["reader"] = [
        f"{bases[base].base[:1]}{reader + 1:02d}" for base, reader in zip(seen["base"], number, strict=True)
    ]


def _write_pins(seen: pd.DataFrame) -> None:
    """Texts as they stand on the paper, in the convention, unit and resolution of the gauge."""
    for pin in ("pin_1", "pin_2"):
        left = seen[f"{pin}_left"]
        value = np.where(seen["convention"] == "used", seen["new"] - left, left)
        value = np.where(seen["unit"] == "in", value / MM_PER_INCH, value)
        value = np.round(value / seen["resolution"]) * seen["resolution"]
        seen[pin] = [f"{length:.{digits}f}" for length, digits in zip(value, seen["decimals"], strict=True)]
    seen.loc[~seen["two_pins"], "pin_2"] = ""


def _rule(scenario: Scenario, seen: pd.DataFrame, rng: np.random.Generator) -> None:
    """What a second person said meanwhile: the slips that were noticed are refused; the latest are still open."""
    noticed = rng.random(len(seen)) < seen["slip"].map(dict(scenario.readings.noticed)).fillna(0.0)
    old = seen["day"] < scenario.days - scenario.readings.ruled_after_days
    seen["ruling"] = np.where(old, np.where(noticed, "refused", "accepted"), "").astype(object)


def _columns(service: Service, flying: Flying, seen: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    scenario = service.scenario
    unread = (rng.random(len(seen)) < scenario.readings.without_value_share) & (seen["occasion"] == "routine")
    unread &= seen["above_limit"] > UNREAD_ABOVE_MM
    unsaid = rng.random(len(seen)) < UNSAID_SHARE
    totals = np.array([base.running_totals for base in scenario.bases])[seen["base"]]
    counted = totals & (rng.random(len(seen)) < COUNTER_SHARE)
    serials = np.array([brake.serial for brake in service.journal.brakes], dtype=object)
    counter = pd.Series(flying.total[seen["day"], seen["aircraft"]], index=seen.index, dtype="Int64")
    return pd.DataFrame(
        {
            "serial": serials[seen["brake"]],
            "day": calendar(scenario, seen["day"]),
            "pin_1": seen["pin_1"].where(~unread, ""),
            "pin_2": seen["pin_2"].where(~unread, ""),
            "unit": seen["unit"],
            "convention": seen["convention"],
            "within_limit": np.where(unread, "yes", ""),
            "brakes_applied": _answer(seen["state"] == "released", unsaid),
            "cold": _answer(seen["state"] == "hot", unsaid),
            "reader": seen["reader"],
            "occasion": seen["occasion"],
            "aircraft_landings": counter.where(pd.Series(counted, index=seen.index)),
            "state": seen["ruling"],
            "recorded_on": calendar(scenario, seen["recorded"]),
        }
    )


def _answer(no: "pd.Series[bool]", unsaid: npt.NDArray[np.bool_]) -> npt.NDArray[Any]:
    return np.where(no, "no", np.where(unsaid, "", "yes"))
