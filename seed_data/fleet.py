"""The aircraft of the invented fleet: who they are, where they are on each day, and whether they fly."""

import datetime as dt
from dataclasses import dataclass
from string import ascii_uppercase
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from seed_data.scenario import Incident, Scenario

GROUNDING = {"storage": "stored", "heavy check": "in check"}
FIRST_MSN = 5001


@dataclass(frozen=True)
class Fleet:
    """
    Aircraft in rows of `aircraft` (0..n-1), days counted from the first day of the log.

    `base` (days, aircraft) is an index into the scenario's bases; `grounded` and `sold` (days, aircraft) say whether it
    stood still that day, and whether it had left the fleet.
    """

    aircraft: pd.DataFrame
    base: npt.NDArray[np.int8]
    grounded: npt.NDArray[np.bool_]
    sold: npt.NDArray[np.bool_]
    changes: list[dict[str, Any]]
    renamed: dict[int, tuple[int, str]]

    def find(self, aircraft_type: str, number: int) -> int:
        """Row of the aircraft with this number within its type."""
        same = (self.aircraft["aircraft_type"] == aircraft_type) & (self.aircraft["number"] == number)
        return int(np.flatnonzero(same)[0])

    def kind(self, row: int) -> int:
        """Index of the aircraft's type in the scenario."""
        return int(self.aircraft["kind"].to_numpy()[row])

    def registrations(self, aircraft: npt.NDArray[np.int64], day: npt.NDArray[np.int64]) -> npt.NDArray[Any]:
        """Registration of each aircraft on each day."""
        names = self.aircraft["registration"].to_numpy(dtype=object)[aircraft]
        for row, (from_day, name) in self.renamed.items():
            names[(aircraft == row) & (day >= from_day)] = name
        return names


def make_fleet(scenario: Scenario, rng: np.random.Generator) -> Fleet:
    """Aircraft of every type, and what the scenario's incidents do to them."""
    aircraft = pd.concat([_of_type(scenario, kind, rng) for kind in range(len(scenario.aircraft_types))])
    aircraft = aircraft.reset_index(drop=True)
    aircraft["msn"] = FIRST_MSN + aircraft.index
    shape = (scenario.days, len(aircraft))
    base = np.broadcast_to(aircraft["base_index"].to_numpy(dtype=np.int8), shape).copy()
    fleet = Fleet(aircraft, base, np.zeros(shape, bool), np.zeros(shape, bool), [], {})
    for incident in scenario.incidents:
        if incident.aircraft:
            _befall(fleet, scenario, incident)
    return fleet


def _of_type(scenario: Scenario, kind: int, rng: np.random.Generator) -> pd.DataFrame:
    told = scenario.aircraft_types[kind]
    base = rng.permutation(_shared_out(told.base_shares, told.count))
    variant = rng.permutation(_shared_out(told.variant_shares, told.count))
    entered = rng.integers(told.in_service[0], told.in_service[1], told.count, endpoint=True)
    age_order = np.argsort(np.argsort(entered, kind="stable"), kind="stable")
    retires = np.linspace(told.retires[0], told.retires[1], told.count).astype(int)[age_order]
    return pd.DataFrame(
        {
            "aircraft_type": told.aircraft_type,
            "kind": kind,
            "number": np.arange(1, told.count + 1),
            "registration": [
                scenario.registration_prefix + told.letter + _letters(row, told.count)
                for row in range(told.count)
            ],
            "base_index": base,
            "weight_variant": np.array(told.variants, dtype=object)[variant],
            "in_service_on": _days_in(entered, rng),
            "retires_on": _days_in(retires, rng),
        }
    )


def _shared_out(shares: tuple[float, ...], count: int) -> npt.NDArray[np.int64]:
    """Indices in proportion to the shares, as near as whole numbers allow."""
    edges = np.round(np.cumsum(shares) * count).astype(int)
    return np.searchsorted(edges, np.arange(count), side="right")


def _letters(row: int, count: int) -> str:
    length = 2 if count <= len(ascii_uppercase) ** 2 else 4
    base = len(ascii_uppercase)
    return "".join(ascii_uppercase[row // base**place % base] for place in reversed(range(length)))


def _days_in(years: npt.NDArray[np.int64], rng: np.random.Generator) -> list[dt.date]:
    offsets = rng.integers(0, 365, len(years))
    return [
        dt.date(int(year), 1, 1) + dt.timedelta(int(days)) for year, days in zip(years, offsets, strict=True)
    ]


def _befall(fleet: Fleet, scenario: Scenario, incident: Incident) -> None:
    row = fleet.find(incident.aircraft_type, incident.aircraft)
    first = (incident.from_on - scenario.first_day).days
    last = scenario.days if incident.to_on is None else (incident.to_on - scenario.first_day).days
    home = scenario.bases[int(fleet.aircraft["base_index"].to_numpy()[row])].base
    if incident.kind in GROUNDING:
        fleet.grounded[first:last, row] = True
        _change(fleet, scenario, row, first, status=GROUNDING[incident.kind])
        _change(fleet, scenario, row, last, status="flying")
    elif incident.kind == "deployment":
        fleet.base[first:last, row] = [base.base for base in scenario.bases].index(incident.base)
        _change(fleet, scenario, row, first, base=incident.base, status="deployed")
        _change(fleet, scenario, row, last, base=home, status="flying")
    elif incident.kind == "sale":
        fleet.grounded[first:, row] = fleet.sold[first:, row] = True
        _change(fleet, scenario, row, first, status="sold")
    elif incident.kind == "re-registration":
        _change(fleet, scenario, row, first, new_registration=incident.text)
        fleet.renamed[row] = (first, incident.text)


def _change(fleet: Fleet, scenario: Scenario, row: int, day: int, **values: str) -> None:
    if day < scenario.days:
        fleet.changes.append({"aircraft": row, "day": day, **values})
