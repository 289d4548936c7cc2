"""Brakes, the lives of their heat sinks, and the positions they sit in."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from seed_data.fleet import Fleet
from seed_data.scenario import BrakeKind, Scenario

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass
class Run:
    """One life of a heat sink with its true rate; `expected_mm` is what it would have worn without path noise."""

    brake: int
    kind: int
    number: int
    rate: float
    expected_mm: float = 0.0
    landings: float = 0.0


@dataclass
class Brake:
    """One serial number; `left_mm` is the true length of the shorter pin when it is not fitted."""

    serial: str
    kind: int
    owner: str
    arrangement: str
    left_mm: float
    starts_as: str
    run: Run
    second_pin_mm: float
    first_pin_governs: bool
    landings_before: tuple[int, int] = (0, 0)  # since new and since overhaul, when the log began


@dataclass
class Journal:
    """Everything that somebody wrote down, apart from landings; days counted, texts as in the files."""

    brakes: list[Brake] = field(default_factory=list)
    runs: list[Run] = field(default_factory=list)
    installations: list[dict[str, Any]] = field(default_factory=list)
    readings: list[dict[str, Any]] = field(default_factory=list)  # one dict of arrays a day
    shop_visits: list[dict[str, Any]] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)
    exclusions: list[dict[str, Any]] = field(default_factory=list)
    deactivations: list[dict[str, Any]] = field(default_factory=list)
    reshims: list[dict[str, Any]] = field(default_factory=list)
    stock: list[dict[str, Any]] = field(default_factory=list)


class BrakeMaker:
    """Makes brakes and gives each heat sink its rate."""

    def __init__(self, scenario: Scenario, journal: Journal, rng: np.random.Generator) -> None:
        self.scenario = scenario
        self.journal = journal
        self.rng = rng
        self.made = [0] * len(scenario.brake_types)

    def make(self, kind: int, starts_as: str = "new", arrangement: str = "") -> Brake:
        """A brake with a serial number of its own, its heat sink at the new length."""
        told = self.scenario.brake_types[kind]
        self.made[kind] += 1
        by_hour = told.arrangement == "by the hour"
        brake = Brake(
            serial=f"{told.material[0].upper()}{told.brake_type[4:7]}-{self.made[kind]:04d}",
            kind=kind,
            owner=told.maker if by_hour or arrangement == "exchange" else self.scenario.operator,
            arrangement=arrangement or told.arrangement,
            left_mm=told.new_pin_mm,
            starts_as=starts_as,
            run=Run(len(self.journal.brakes), kind, 0, 0.0),
            second_pin_mm=0.0,
            first_pin_governs=True,
        )
        self.journal.brakes.append(brake)
        self.new_heat_sink(brake)
        return brake

    def new_heat_sink(self, brake: Brake) -> None:
        """Begin a run: another heat sink, another rate, other pins."""
        told = self.scenario.brake_types[brake.kind]
        rate = told.rate_mm_per_landing * max(0.5, self.rng.normal(1, told.rate_cv))
        brake.run = Run(brake.run.brake, brake.kind, brake.run.number + 1, rate)
        brake.left_mm = told.new_pin_mm
        brake.second_pin_mm = self.rng.uniform(*self.scenario.readings.pin_offset_mm)
        brake.first_pin_governs = bool(self.rng.random() < 0.5)
        self.journal.runs.append(brake.run)


class Positions:
    """Every brake position of the fleet, in arrays of one value a position."""

    def __init__(self, scenario: Scenario, fleet: Fleet) -> None:
        kinds = [scenario.aircraft_types[fleet.kind(row)] for row in range(len(fleet.aircraft))]
        counts = [len(kind.positions) for kind in kinds]
        self.craft = np.repeat(np.arange(len(kinds)), counts)
        self.first = np.concatenate([[0], np.cumsum(counts)])  # of each aircraft
        self.name = np.concatenate([np.array(kind.positions, dtype=object) for kind in kinds])
        factors = [[kind.group_factors[group] for group in kind.groups] for kind in kinds]
        self.group_factor = np.concatenate([np.array(row) for row in factors])
        size = len(self.craft)
        self.brake: list[Brake | None] = [None] * size
        self.kind = self._first_kinds(scenario, fleet)
        self.left = np.full(size, np.nan)
        self.rate = np.zeros(size)  # 0 in an empty position
        self.expected = np.zeros(size)
        self.landings = np.zeros(size)
        self.share = np.ones(size)  # of the aircraft's braking, against an even share
        self.drag = np.ones(size)
        self.next_reading = np.zeros(size, dtype=np.int64)
        self.open_row: list[dict[str, Any]] = [{} for _ in range(size)]

    def _first_kinds(self, scenario: Scenario, fleet: Fleet) -> Ints:
        codes = {kind.brake_type: code for code, kind in enumerate(scenario.brake_types)}
        numbers = fleet.aircraft["number"].to_numpy()
        carried = [scenario.aircraft_types[fleet.kind(row)].brake_types for row in range(len(numbers))]
        each = [
            codes[types[(number - 1) % len(types)]] for types, number in zip(carried, numbers, strict=True)
        ]
        return np.array(each, dtype=np.int64)[self.craft]

    def at(self, aircraft: int, position: int) -> int:
        """Index of a position, counted from 1 within the aircraft."""
        return int(self.first[aircraft]) + position - 1

    def of(self, aircraft: int) -> range:
        """Indices of all positions of an aircraft."""
        return range(int(self.first[aircraft]), int(self.first[aircraft + 1]))


def by_kind(kinds: Sequence[BrakeKind], name: str) -> Floats:
    """One number of every brake type, in the scenario's order."""
    return np.array([getattr(kind, name) for kind in kinds], dtype=np.float64)
