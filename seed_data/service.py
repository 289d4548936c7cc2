"""Four years of service, day by day: brakes wear, are read, come off and are replaced."""

from typing import Any

import numpy as np

from seed_data.brakes import Brake, BrakeMaker, Floats, Ints, Journal, Positions, by_kind
from seed_data.fleet import Fleet
from seed_data.flying import Flying, daily_level, month_of
from seed_data.papers import NEVER
from seed_data.scenario import Scenario
from seed_data.shop import Shop

START_KNOWN = {
    "new": 0.3,
    "overhauled": 0.8,
    "refurbished": 0.6,
    "same run": 0.75,
}  # share with a pin written down
REMOVAL_READ_SHARE = 0.5
PART_WORN_SHARE = 0.92
COUNTED_SHARE = 0.75  # of the part-worn brakes, those whose landings since overhaul are on record


class Service:
    """The fleet in service; `journal` tells what happened."""

    def __init__(self, scenario: Scenario, fleet: Fleet, flying: Flying, rng: np.random.Generator) -> None:
        self.scenario, self.fleet, self.flying, self.rng = scenario, fleet, flying, rng
        self.journal = Journal()
        self.positions = Positions(scenario, fleet)
        self.maker = BrakeMaker(scenario, self.journal, rng)
        self.shop = Shop(scenario, self.maker, self.positions.kind, rng)
        kinds = scenario.brake_types
        self.path_sd, self.gauge_sd = by_kind(kinds, "path_sd_mm"), by_kind(kinds, "gauge_sd_mm")
        self.hazard = by_kind(kinds, "unscheduled_per_1000") / 1000
        self.base_factor = np.array([base.wear_factor for base in scenario.bases])
        self.months = month_of(scenario)
        self.per_day = np.array(
            [[daily_level(kind, month) for kind in scenario.aircraft_types] for month in range(1, 13)]
        )
        self.limits = self._limits()

    def _limits(self) -> Floats:
        """Limit, length left, by position and brake type, before any revision."""
        variants = self.fleet.aircraft["weight_variant"].to_numpy(dtype=object)
        kinds = self.scenario.brake_types
        limits = [[kind.variant_limits.get(name, kind.limit_left_mm) for kind in kinds] for name in variants]
        by_aircraft = np.array(limits, dtype=np.float64)
        return by_aircraft[self.positions.craft]

    def revise_limits(self, day: int) -> None:
        """A revision of the manual counts from its day on; a variant with a limit of its own keeps it."""
        names = [kind.brake_type for kind in self.scenario.brake_types]
        variants = self.fleet.aircraft["weight_variant"].to_numpy(dtype=object)[self.positions.craft]
        for revision in self.scenario.limit_revisions:
            if (revision["from"] - self.scenario.first_day).days == day:
                kind = names.index(revision["brake_type"])
                own = np.isin(variants.astype(str), list(self.scenario.brake_types[kind].variant_limits))
                self.limits[~own, kind] = revision["limit_left_mm"]

    def begin(self) -> None:
        """Fit part-worn brakes on the eve of the log, and put spares on the shelves."""
        for index, kind in enumerate(self.positions.kind):
            brake = self.maker.make(int(kind), "overhauled")
            if self.rng.random() < PART_WORN_SHARE:
                self._wear_before(brake, index)
            self.shop.put(brake, self.base_of(index, 0), NEVER)
            self.install(index, -1)
        for kind in range(len(self.scenario.brake_types)):
            fitted = np.flatnonzero(self.positions.kind == kind)
            for index in fitted[: round(len(fitted) * self.scenario.shop.spare_share)]:
                self.shop.put(self.maker.make(kind, "overhauled"), self.base_of(int(index), 0), 0)

    def _wear_before(self, brake: Brake, index: int) -> None:
        """Landings that a brake made before the log begins, where it still is; mostly they were counted."""
        told = self.scenario.brake_types[brake.kind]
        place = self.base_factor[self.base_of(index, 0)] * self.positions.group_factor[index]
        life = (told.new_pin_mm - self.limits[index, brake.kind]) / (brake.run.rate * place)
        since = round(self.rng.uniform(0.02, 0.95) * life)
        noise = told.path_sd_mm * np.sqrt(since) * self.rng.standard_normal()
        brake.left_mm -= max(brake.run.rate * place * since + noise, 0.0)
        brake.starts_as = "same run"
        if self.rng.random() < COUNTED_SHARE:
            runs_before = int(self.rng.integers(0, 5))
            brake.landings_before = (since + runs_before * round(life * self.rng.uniform(0.8, 1.2)), since)

    def base_of(self, index: int, day: int) -> int:
        """Base of the aircraft that a position belongs to."""
        return int(self.fleet.base[min(day, self.scenario.days - 1), self.positions.craft[index]])

    def fly(self, day: int) -> Floats:
        """One day's landings wear every fitted brake; the braked landings of each position."""
        at = self.positions
        braked: Floats = self.flying.braked[day, at.craft] * at.share * (at.rate > 0)
        dose = braked * self.base_factor[self.fleet.base[day, at.craft]] * at.group_factor
        noise = self.path_sd[at.kind] * np.sqrt(braked) * self.rng.standard_normal(len(braked))
        at.left -= at.rate * dose * at.drag + noise
        at.expected += at.rate * dose
        at.landings += braked
        return braked

    def read_due(self, day: int) -> Ints:
        """Read the pins that are due; the positions whose brake is to come off as worn."""
        at, habits = self.positions, self.scenario.readings
        standing = self.fleet.grounded[day, at.craft] | (at.rate == 0)
        due = np.flatnonzero((at.next_reading <= day) & ~standing)
        days_left = self._days_to_limit(due, day)
        routine = self.rng.integers(habits.interval_days[0], habits.interval_days[1], len(due), endpoint=True)
        soon = np.maximum(habits.near_limit_days, (habits.near_limit_share * days_left).astype(np.int64))
        at.next_reading[due] = day + np.minimum(routine, soon)
        worn = days_left < habits.change_out_days
        written = worn | (self.rng.random(len(due)) >= habits.missed_share)
        self.write_readings(due[written], day, "routine")
        return due[worn]

    def _days_to_limit(self, due: Ints, day: int) -> Floats:
        """What the line reckons from the pin it just read: days until the limit."""
        at = self.positions
        seen = at.left[due] + self.gauge_sd[at.kind[due]] * self.rng.standard_normal(len(due))
        kinds = self.fleet.aircraft["kind"].to_numpy()[at.craft[due]]
        daily = self.per_day[self.months[day] - 1, kinds]
        worn_daily = at.rate[due] * at.group_factor[due] * at.drag[due] * daily
        worn_daily *= self.base_factor[self.fleet.base[day, at.craft[due]]]
        days_left: Floats = (seen - self.limits[due, at.kind[due]]) / worn_daily
        return days_left

    def write_readings(self, due: Ints, day: int, occasion: str) -> None:
        """Note the true length of the shorter pin; the gauge and the pen come later."""
        at = self.positions
        brakes = [at.brake[index] for index in due]
        self.journal.readings.append(
            {
                "day": day,
                "position": due,
                "left": at.left[due].copy(),
                "above_limit": at.left[due] - self.limits[due, at.kind[due]],
                "brake": np.array([brake.run.brake for brake in brakes if brake], dtype=np.int64),
                "second": np.array([brake.second_pin_mm for brake in brakes if brake]),
                "first_governs": np.array([brake.first_pin_governs for brake in brakes if brake], dtype=bool),
                "occasion": occasion,
            }
        )

    def unscheduled(self, braked: Floats) -> list[tuple[int, str]]:
        """Positions whose brake comes off for another reason today, and why."""
        at = self.positions
        struck = np.flatnonzero(self.rng.random(len(braked)) < braked * self.hazard[at.kind])
        return [(int(index), self._reason(int(at.kind[index]))) for index in struck]

    def _reason(self, kind: int) -> str:
        reasons = self.scenario.brake_types[kind].reasons
        weights = np.array(list(reasons.values()))
        return str(self.rng.choice(np.array(list(reasons), dtype=object), p=weights / weights.sum()))

    def remove(self, index: int, day: int, reason: str, *, keep: bool = True) -> None:
        """Take a brake off after the day's flying, and hand it to the shop unless it leaves the fleet."""
        at = self.positions
        brake = at.brake[index]
        if brake is None:
            return
        if reason != "worn" and self.rng.random() < REMOVAL_READ_SHARE:
            self.write_readings(np.array([index]), day, "removal")
        row = at.open_row[index]
        row |= {"removed_on": day, "removal_reason": reason, "landings_off": self._counter(index, day)}
        brake.left_mm = float(at.left[index])
        brake.run.expected_mm += float(at.expected[index])
        brake.run.landings += float(at.landings[index])
        at.brake[index], at.rate[index], at.left[index] = None, 0.0, np.nan
        if keep:
            self.shop.receive(brake, reason, self.base_of(index, day), day)

    def install(self, index: int, day: int) -> None:
        """Fit the next serviceable brake after the day's flying."""
        at = self.positions
        brake = self.shop.take(int(at.kind[index]), self.base_of(index, max(day, 0)), day)
        start_known = self.rng.random() < START_KNOWN[brake.starts_as]
        start = min(brake.left_mm + 0.05 * self.rng.standard_normal(), self._new_pin(brake.kind))
        row = {
            "serial": brake.serial,
            "kind": brake.kind,
            "aircraft": int(at.craft[index]),
            "position": str(at.name[index]),
            "installed_on": day,
            "removed_on": NEVER,
            "removal_reason": "",
            "starts_as": brake.starts_as,
            "start_pin": round(start, 1) if start_known else np.nan,
            "landings_on": self._counter(index, day),
            "landings_off": -1,
        }
        self.journal.installations.append(row)
        at.brake[index], at.left[index], at.rate[index] = brake, brake.left_mm, brake.run.rate
        at.expected[index] = at.landings[index] = 0.0
        at.drag[index], at.open_row[index] = 1.0, row
        habits = self.scenario.readings.interval_days
        at.next_reading[index] = day + int(self.rng.integers(1, habits[1]))

    def replace(self, index: int, day: int, reason: str) -> None:
        """Take a brake off and fit the next one, unless it came off earlier in the day."""
        if self.positions.open_row[index].get("installed_on") != day:
            self.remove(index, day, reason)
            self.install(index, day)

    def _new_pin(self, kind: int) -> float:
        return self.scenario.brake_types[kind].new_pin_mm

    def _counter(self, index: int, day: int) -> int:
        """The aircraft's landings, where its sheets tell a running total; -1 elsewhere."""
        told = self.scenario.bases[self.base_of(index, max(day, 0))].running_totals
        return int(self.flying.total[day, self.positions.craft[index]]) if told and day >= 0 else -1

    def finish(self) -> None:
        """Add what the brakes still fitted have worn to their runs."""
        at = self.positions
        for index, brake in enumerate(at.brake):
            if brake is not None:
                brake.run.expected_mm += float(at.expected[index])
                brake.run.landings += float(at.landings[index])

    def count_stock(self, day: int) -> None:
        """Count the shelves of every base."""
        for base in range(len(self.scenario.bases)):
            for kind in range(len(self.scenario.brake_types)):
                row: dict[str, Any] = {"base": base, "kind": kind, "counted_on": day}
                self.journal.stock.append(row | {"serviceable": self.shop.count(kind, base, day)})
