"""Histories of a claim, looked at after every eight brakes that come in, and how often a rule is wrong along them."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from lifecycle.mean_life import mean_life
from lifecycle.sequential import ERROR, OPEN, at_any_time, by_zone

LIFE = 1500.0
FIRST_LOOK = 3  # eights of brakes
EIGHT = 8


def rates(rng, aircraft, brakes, *, life=LIFE, omega=0.08, tau=0.1, error=0.05, first=0):
    """Shares of wear a landing, as `own_rates` gives them, drawn from the model; the figures are invented."""
    own = np.repeat(rng.normal(0, omega, aircraft), brakes) + rng.normal(0, tau, aircraft * brakes)
    share = (1 + omega**2 + tau**2) / life * (1 + own + rng.normal(0, error, own.size))
    return pd.DataFrame(
        {
            "share": share,
            "variance": (error / life) ** 2,
            "aircraft": first + np.repeat(np.arange(aircraft), brakes),
            "landings": 600.0,
        }
    )


@dataclass(frozen=True)
class Outcome:
    """Shares of the histories that ended wrong, and that ended at all."""

    wrong: float
    settled: float
    histories: int

    @property
    def error(self):
        """Standard error of the share wrong, were the rule wrong as often as it may be."""
        return np.sqrt(ERROR * (1 - ERROR) / self.histories)


def verdict(rng, rule, *, true_life, looks, brakes=EIGHT, independent=False):
    """The first verdict of a rule along one history of aircraft with so many brakes each."""
    table = rates(rng, looks * EIGHT // brakes, brakes, life=true_life)
    if independent:
        table["aircraft"] = np.arange(len(table))
    for count in range(FIRST_LOOK, looks + 1):
        found = rule(mean_life([table.iloc[: EIGHT * count]]))
        if found != OPEN:
            return found
    return OPEN


def outcome(rule, wrong, *, histories, seed=20261125, **more):
    """Many histories of one truth."""
    rng = np.random.default_rng(seed)
    given = [verdict(rng, rule, **more) for _ in range(histories)]
    return Outcome(given.count(wrong) / histories, 1 - given.count(OPEN) / histories, histories)


def zone_rule(life):
    """With a declared indifference zone."""
    return by_zone(life, LIFE)


def any_time_rule(life):
    """Without one."""
    return at_any_time(life, LIFE)


def each_look(life):
    """More than 95 % sure at this look: no such rule is offered."""
    chance = life.chance_above(LIFE)
    return "holds" if chance > 1 - ERROR else "fails" if chance < ERROR else OPEN
