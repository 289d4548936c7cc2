"""The invented fleet as written down in scenario.toml: what is true of it, before anybody reads a pin."""

import datetime as dt
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

DEFAULT: Final = Path(__file__).with_name("scenario.toml")


@dataclass(frozen=True)
class Base:
    """A base, its wear factor and the habits of its gauges and sheets."""

    base: str
    name: str
    kind: str
    wear_factor: float
    unit: str
    resolution: float
    coarse_share: float
    running_totals: bool
    touch_and_go_share: float
    plans_flying: bool


@dataclass(frozen=True)
class CraftType:
    """An aircraft type, how many there are and how they fly."""

    aircraft_type: str
    letter: str
    positions: tuple[str, ...]
    groups: tuple[str, ...]
    group_factors: Mapping[str, float]
    landing_mass_kg: float
    touchdown_speed_kt: float
    count: int
    landings_per_day: float
    most_landings_per_day: int
    level_cv: float
    season_amplitude: float
    season_peak_month: int
    hours_per_landing: float
    brake_types: tuple[str, ...]
    base_shares: tuple[float, ...]
    variants: tuple[str, ...]
    variant_shares: tuple[float, ...]
    in_service: tuple[int, int]
    retires: tuple[int, int]


@dataclass(frozen=True)
class BrakeKind:
    """A brake type with its true wear, its gauge and its fate in the shop."""

    brake_type: str
    maker: str
    material: str
    mass_kg: float
    pins: int
    new_pin_mm: float
    limit_left_mm: float
    variant_limits: Mapping[str, float]
    convention: str
    rate_mm_per_landing: float
    rate_cv: float
    path_sd_mm: float
    gauge_sd_mm: float
    unscheduled_per_1000: float
    reasons: Mapping[str, float]
    overhaul_cost: float
    scrap_share: float
    arrangement: str


@dataclass(frozen=True)
class ReadingHabits:
    """How often pins are read, and what goes wrong on the way to the paper."""

    interval_days: tuple[int, int]
    near_limit_days: int
    near_limit_share: float
    change_out_days: float
    pin_offset_mm: tuple[float, float]
    missed_share: float
    without_value_share: float
    hot_share: float
    released_share: float
    reads_long_mm: tuple[float, float]
    slip_share: float
    ruled_after_days: int
    noticed: Mapping[str, float]


@dataclass(frozen=True)
class Papers:
    """How late papers come in, and how many are lost."""

    late: tuple[tuple[float, int, int], ...]
    lost_share: float


@dataclass(frozen=True)
class Shop:
    """Turnaround and habits of the repair loop."""

    turnaround_days: tuple[int, int, int]
    sent_after_days: tuple[int, int]
    refurbish_share: float
    exchange_share: float
    cost_scatter: float
    repairable: tuple[str, ...]
    shelf_reasons: tuple[str, ...]
    worth_keeping: float
    spare_share: float
    surplus_share: float


@dataclass(frozen=True)
class Retrofit:
    """The proposed brake and the conversions done: number of the aircraft and day."""

    aircraft_type: str
    current: str
    proposed: str
    effective_on: dt.date
    source: str
    conversions: tuple[tuple[int, dt.date], ...]


@dataclass(frozen=True)
class Incident:
    """One thing that happens to one aircraft, or to the papers of one base."""

    kind: str
    from_on: dt.date
    to_on: dt.date | None = None
    aircraft_type: str = ""
    aircraft: int = 0
    position: int = 0
    base: str = ""
    factor: float = 1.0
    speed_kt: float = float("nan")
    mass_kg: float = float("nan")
    text: str = ""
    recorded: dt.date | None = None
    totals_month: dt.date | None = None


@dataclass(frozen=True)
class Scenario:
    """All that is true of the invented fleet."""

    seed: int
    operator: str
    currency: str
    source: str
    registration_prefix: str
    first_day: dt.date
    last_day: dt.date
    assumptions_dated: dt.date
    bases: tuple[Base, ...]
    aircraft_types: tuple[CraftType, ...]
    brake_types: tuple[BrakeKind, ...]
    readings: ReadingHabits
    papers: Papers
    shop: Shop
    retrofit: Retrofit
    incidents: tuple[Incident, ...]
    limit_revisions: tuple[Mapping[str, Any], ...]
    orders: tuple[Mapping[str, Any], ...]
    assumptions: tuple[Mapping[str, Any], ...]

    @property
    def days(self) -> int:
        """Days of the landings log."""
        return (self.last_day - self.first_day).days + 1

    def scaled(self, fleets: int) -> "Scenario":
        """The same operator with this many times the aircraft of each type; incidents stay with the first ones."""
        grown = tuple(replace(kind, count=kind.count * fleets) for kind in self.aircraft_types)
        return replace(self, aircraft_types=grown)


def read_scenario(path: Path = DEFAULT) -> Scenario:
    """Read a scenario as written down in TOML."""
    with path.open("rb") as file:
        told = tomllib.load(file)
    return Scenario(
        **{**told, "bases": tuple(Base(**row) for row in told["bases"])}
        | {
            "aircraft_types": tuple(CraftType(**_tuples(row)) for row in told["aircraft_types"]),
            "brake_types": tuple(BrakeKind(**row) for row in told["brake_types"]),
            "readings": ReadingHabits(**_tuples(told["readings"])),
            "papers": Papers(**_tuples(told["papers"])),
            "shop": Shop(**_tuples(told["shop"])),
            "retrofit": Retrofit(
                **_tuples(_renamed(told["retrofit"], {"from": "current", "to": "proposed"}))
            ),
            "incidents": tuple(
                Incident(**_renamed(row, {"from": "from_on", "to": "to_on"})) for row in told["incidents"]
            ),
            "limit_revisions": tuple(told["limit_revisions"]),
            "orders": tuple(told["orders"]),
            "assumptions": tuple(told["assumptions"]),
        }
    )


def _tuples(row: Mapping[str, Any]) -> dict[str, Any]:
    return {key: _frozen(value) for key, value in row.items()}


def _frozen(value: object) -> object:
    return tuple(_frozen(item) for item in value) if isinstance(value, list) else value


def _renamed(row: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """`from` is a word of the language, so a field cannot be named so."""
    return {names.get(key, key): value for key, value in row.items()}
