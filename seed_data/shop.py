"""The repair loop: what becomes of a brake that came off, and what stands on the shelf."""

import heapq
from collections import defaultdict
from typing import Any

import numpy as np

from seed_data.brakes import Brake, BrakeMaker, Ints
from seed_data.papers import NEVER
from seed_data.scenario import Scenario

COST_SHARE = {"overhaul": 1.0, "refurbish": 0.57, "repair": 0.16, "no fault found": 0.05, "scrap": 0.03}
REFURBISHED_SHORT_MM = (1.5, 5.0)  # how much shorter than new a refurbished heat sink starts


class Shop:
    """Sends brakes away, takes them back to the shelf of their base, and buys when the shelves are empty."""

    def __init__(self, scenario: Scenario, maker: BrakeMaker, fitted: Ints, rng: np.random.Generator) -> None:
        self.scenario = scenario
        self.fitted = fitted  # the brake type of every position, kept up by its owner
        self.maker = maker
        self.rng = rng
        self.shelf: dict[tuple[int, int], list[tuple[int, int, Brake]]] = defaultdict(list)
        self.order = 0

    def put(self, brake: Brake, base: int, available: int) -> None:
        """Lay a serviceable brake on the shelf of a base from a day on."""
        self.order += 1
        heapq.heappush(self.shelf[brake.kind, base], (available, self.order, brake))

    def take(self, kind: int, base: int, day: int) -> Brake:
        """A serviceable brake: of this base, else of another, else bought new."""
        others = [other for other in range(len(self.scenario.bases)) if other != base]
        for place in (base, *others):
            shelf = self.shelf[kind, place]
            if shelf and shelf[0][0] <= day:
                return heapq.heappop(shelf)[2]
        return self.maker.make(kind)

    def count(self, kind: int, base: int, day: int) -> int:
        """Serviceable brakes on the shelf of a base."""
        return sum(available <= day for available, _, _ in self.shelf[kind, base])

    def receive(self, brake: Brake, reason: str, base: int, day: int) -> None:
        """Decide about a brake that came off."""
        told = self.scenario.brake_types[brake.kind]
        usable = told.new_pin_mm - told.limit_left_mm
        worth_keeping = (brake.left_mm - told.limit_left_mm) / usable > self.scenario.shop.worth_keeping
        brake.starts_as = "same run"
        if reason in self.scenario.shop.shelf_reasons and worth_keeping:
            self.put(brake, base, day + 1)
        elif reason in self.scenario.shop.repairable and worth_keeping:
            work = "no fault found" if reason == "vibration" and self.rng.random() < 0.5 else "repair"
            self._visit(brake, work, base, day)
        elif self.rng.random() < told.scrap_share or self._is_surplus(brake.kind):
            self._visit(brake, "scrap", base, day)
        else:
            self._renew(brake, base, day)

    def _is_surplus(self, kind: int) -> bool:
        """Whether enough brakes of a type stand on shelves or are in the shop; a retrofit leaves many over."""
        off = sum(len(self.shelf[kind, base]) for base in range(len(self.scenario.bases)))
        return off > self.scenario.shop.surplus_share * int((self.fitted == kind).sum())

    def _renew(self, brake: Brake, base: int, day: int) -> None:
        if self.rng.random() < self.scenario.shop.exchange_share:
            back = self.maker.make(brake.kind, "overhauled", "exchange")
            self._visit(brake, "overhaul", base, day, back=back)
            return
        work = "refurbish" if self.rng.random() < self.scenario.shop.refurbish_share else "overhaul"
        self.maker.new_heat_sink(brake)
        brake.starts_as = "overhauled"
        if work == "refurbish":
            brake.left_mm -= self.rng.uniform(*REFURBISHED_SHORT_MM)
            brake.starts_as = "refurbished"
        self._visit(brake, work, base, day)

    def _visit(self, brake: Brake, work: str, base: int, day: int, back: Brake | None = None) -> None:
        shop, told = self.scenario.shop, self.scenario.brake_types[brake.kind]
        sent = day + int(self.rng.integers(shop.sent_after_days[0], shop.sent_after_days[1], endpoint=True))
        days = round(self.rng.triangular(*shop.turnaround_days))
        cost = told.overhaul_cost * COST_SHARE[work] * self.rng.normal(1, shop.cost_scatter)
        row: dict[str, Any] = {"serial": brake.serial, "sent_on": sent, "back_on": NEVER, "serial_back": ""}
        if work != "scrap":
            row["back_on"] = sent + days
            row["serial_back"] = back.serial if back else ""
            self.put(back or brake, base, sent + days)
        row |= {"work": work, "cost": round(cost, -1), "currency": self.scenario.currency}
        self.maker.journal.shop_visits.append(row | {"base": base, "kind": brake.kind, "off": day})
