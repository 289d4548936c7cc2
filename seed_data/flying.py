"""The flying of the invented fleet, day by day, and the landings sheets that tell of it."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from seed_data.fleet import Fleet
from seed_data.papers import NEVER, calendar, days_late
from seed_data.scenario import CraftType, Scenario

IDLE_SHARE = 0.04  # of the days: line maintenance, no crew, weather
REPORTED_MASS_SHARE = 0.2
CIRCUIT_HOURS = 0.1


@dataclass(frozen=True)
class Flying:
    """
    What was flown, true counts, arrays of shape (days, aircraft).

    `braked` is full stops plus rejected take-offs by their energy; `total` is the aircraft's landings counter at the
    end of the day (touch-and-gos count as landings there).
    """

    full_stops: npt.NDArray[np.int64]
    touch_and_gos: npt.NDArray[np.int64]
    rejected: npt.NDArray[np.int64]
    braked: npt.NDArray[np.float64]
    total: npt.NDArray[np.int64]


def fly(scenario: Scenario, fleet: Fleet, rng: np.random.Generator) -> Flying:
    """Landings of every aircraft on every day, with a level of its own and the season of its type."""
    kinds = fleet.aircraft["kind"].to_numpy()
    legs = np.array([kind.most_landings_per_day for kind in scenario.aircraft_types])[kinds]
    chance = np.clip(_expected(scenario, fleet, rng) / legs, 0, 1)
    stops = rng.binomial(np.broadcast_to(legs, chance.shape), chance)
    stops[fleet.grounded | (rng.random(chance.shape) < IDLE_SHARE)] = 0
    training = np.array([base.touch_and_go_share for base in scenario.bases])[fleet.base]
    circuits = np.where(
        (rng.random(chance.shape) < training) & (stops > 0), rng.integers(2, 8, chance.shape), 0
    )
    rejected, braked = _rejected(scenario, fleet, stops)
    counter = rng.integers(6_000, 26_000, len(kinds))
    return Flying(stops, circuits, rejected, braked, counter + np.cumsum(stops + circuits, axis=0))


def _expected(scenario: Scenario, fleet: Fleet, rng: np.random.Generator) -> npt.NDArray[np.float64]:
    months = month_of(scenario)
    daily = np.array(
        [[daily_level(kind, month) for kind in scenario.aircraft_types] for month in range(1, 13)]
    )
    kinds = fleet.aircraft["kind"].to_numpy()
    spread = np.array([kind.level_cv for kind in scenario.aircraft_types])[kinds]
    level = np.exp(rng.normal(0, spread))
    expected: npt.NDArray[np.float64] = daily[months - 1][:, kinds] * level / (1 - IDLE_SHARE)
    return expected


def daily_level(kind: CraftType, month: int) -> float:
    """Expected landings a day of an aircraft of this type in this month of the year."""
    turn = np.cos(2 * np.pi * (month - kind.season_peak_month) / 12)
    return kind.landings_per_day * (1 + kind.season_amplitude * float(turn))


def month_of(scenario: Scenario) -> npt.NDArray[np.int64]:
    """Month of the year of each day of the log."""
    return pd.date_range(scenario.first_day, scenario.last_day).month.to_numpy().astype(np.int64)


def _rejected(
    scenario: Scenario, fleet: Fleet, stops: npt.NDArray[np.int64]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Rejected take-offs; each counts by its energy against a normal stop: mass times speed squared."""
    rejected = np.zeros_like(stops)
    braked = stops.astype(np.float64)
    for incident in scenario.incidents:
        if incident.kind == "rejected take-off":
            row = fleet.find(incident.aircraft_type, incident.aircraft)
            kind = scenario.aircraft_types[fleet.kind(row)]
            day = (incident.from_on - scenario.first_day).days
            rejected[day, row] += 1
            energy = incident.mass_kg * incident.speed_kt**2
            braked[day, row] += energy / (kind.landing_mass_kg * kind.touchdown_speed_kt**2)
    return rejected, braked


def landing_sheets(
    scenario: Scenario, fleet: Fleet, flying: Flying, rng: np.random.Generator
) -> pd.DataFrame:
    """Rows of landings.csv: an aircraft-day each, less the sheets that were lost, and a month of period totals."""
    day, row = np.nonzero(~fleet.sold)
    sheets = pd.DataFrame({"day": day, "row": row, "to_day": NEVER, "stops": flying.full_stops[day, row]})
    sheets["circuits"] = flying.touch_and_gos[day, row]
    lost = (rng.random(len(sheets)) < scenario.papers.lost_share) & (flying.rejected[day, row] == 0)
    sheets["recorded"] = day + days_late(scenario, len(sheets), rng)
    for first, last, aircraft in _period_totals(scenario, fleet):
        inside = (row == aircraft) & (day >= first) & (day <= last)
        lost[inside] = day[inside] > first
        total = inside & (day == first)
        sheets.loc[total, ["to_day", "recorded"]] = [last, last + 3]
        sheets.loc[total, "stops"] = flying.full_stops[first : last + 1, aircraft].sum()
        sheets.loc[total, "circuits"] = flying.touch_and_gos[first : last + 1, aircraft].sum()
    _come_late(scenario, fleet, sheets)
    return _columns(scenario, fleet, flying, sheets[~lost & (sheets["recorded"] < scenario.days)], rng)


def _period_totals(scenario: Scenario, fleet: Fleet) -> list[tuple[int, int, int]]:
    found = []
    for incident in scenario.incidents:
        if incident.totals_month is not None:
            first = (incident.totals_month - scenario.first_day).days
            days = pd.Timestamp(incident.totals_month).days_in_month
            found.append((first, first + days - 1, fleet.find(incident.aircraft_type, incident.aircraft)))
    return found


def _come_late(scenario: Scenario, fleet: Fleet, sheets: pd.DataFrame) -> None:
    """Sheets of one base that all came in on one day."""
    names = [base.base for base in scenario.bases]
    day, row = sheets["day"].to_numpy(), sheets["row"].to_numpy()
    for incident in scenario.incidents:
        if incident.recorded is not None and incident.to_on is not None:
            first, last, came = (
                (date - scenario.first_day).days
                for date in (incident.from_on, incident.to_on, incident.recorded)
            )
            at_base = fleet.base[day, row] == names.index(incident.base)
            sheets.loc[at_base & (day >= first) & (day <= last), "recorded"] = came


def _columns(
    scenario: Scenario, fleet: Fleet, flying: Flying, sheets: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    day, row, to_day = (sheets[name].to_numpy() for name in ("day", "row", "to_day"))
    kinds = fleet.aircraft["kind"].to_numpy()[row]
    hours = np.array([kind.hours_per_landing for kind in scenario.aircraft_types])[kinds]
    mass = np.array([kind.landing_mass_kg for kind in scenario.aircraft_types])[kinds]
    bases = fleet.base[day, row]
    with_total = np.array([base.running_totals for base in scenario.bases])[bases]
    total = pd.Series(flying.total[np.maximum(day, to_day), row], dtype="Int64").where(with_total)
    weighed = (rng.random(len(day)) < REPORTED_MASS_SHARE) & (sheets["stops"].to_numpy() > 0)
    flown = sheets["stops"] * hours * rng.normal(1, 0.05, len(day)) + CIRCUIT_HOURS * sheets["circuits"]
    return pd.DataFrame(
        {
            "registration": fleet.registrations(row, day),
            "day": calendar(scenario, day),
            "to_day": calendar(scenario, to_day),
            "base": np.array([base.base for base in scenario.bases], dtype=object)[bases],
            "full_stops": sheets["stops"].to_numpy(),
            "touch_and_gos": sheets["circuits"].to_numpy(),
            "rejected_takeoffs": flying.rejected[day, row],
            "flight_hours": flown.round(1).to_numpy(),
            "total_landings": total,
            "landing_mass_kg": np.where(weighed, np.round(mass * rng.normal(1, 0.02, len(day)), -2), np.nan),
            "recorded_on": calendar(scenario, sheets["recorded"]),
        }
    )
