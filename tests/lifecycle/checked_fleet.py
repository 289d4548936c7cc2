"""Invented fleets with known wear for checking readings: what is expected of the next reading of every pin."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from lifecycle.expected import Step, law_of_reading, state_at_start, states_of
from lifecycle.plausible import Against, Typed
from lifecycle.wear import fit_fleet, prior_rate
from tests.lifecycle.wear_fleet import Brake, paths, runs_of

NEW_MM = 50.0
BEGUN = pd.Timestamp("2026-01-01")
POSITIONS = 4


@dataclass(frozen=True)
class NextReading:
    """The true next reading of one pin, and what it is held against; `others` are those of its aircraft."""

    text: str
    against: Against


def with_days(runs):
    """The frames with the columns of days that only a ledger's runs carry."""
    runs.runs["started_on"] = BEGUN
    runs.readings["day"] = BEGUN + pd.to_timedelta(runs.readings["landings"], unit="D")
    return runs


def next_readings(seed, *, brakes=400, readings=12):
    """Fit a fleet on all but the last reading of each brake; brakes have been read 0 to `readings` times."""
    rng = np.random.default_rng(seed)
    x, w = paths(rng, brakes, readings + 1)
    fleet, nexts = [], []
    for number in range(brakes):
        seen = int(rng.integers(0, readings + 1))
        seen = min(seen, int(np.searchsorted(w[number], NEW_MM - 8.0)) - 1)
        read = np.round(w[number, :seen], 1)
        fleet.append(Brake(tuple(x[number, :seen]), tuple(read), start_mm=NEW_MM))
        before = x[number, seen - 1] if seen else 0.0
        last = Typed(f"{NEW_MM - read[-1]:.1f}", "mm") if seen else None
        nexts.append((x[number, seen] - before, f"{NEW_MM - w[number, seen]:.1f}", last))
    runs = with_days(runs_of(fleet))
    fit = fit_fleet(runs)
    kept = states_of(runs, fit).set_index("brake")
    laws = [_law(kept.loc[number], step, fit) for number, (step, _, _) in enumerate(nexts)]
    return [
        NextReading(text, Against(laws[n], NEW_MM, last, measurement_mm=0.2, others=_others(laws, n)))
        for n, (_, text, last) in enumerate(nexts)
    ]


def _law(kept, landings, fit):
    state = pin_state(kept) if kept["kind"] == "estimated" else None
    state = state or state_at_start(prior_rate(fit, "BT-1", "in", "A"), NEW_MM, NEW_MM)
    return law_of_reading(state, Step(landings, resolution_mm=0.1))


def pin_state(kept):
    from lifecycle.expected import PinState  # noqa: PLC0415 - beside its use

    return PinState(**{name: kept[name] for name in PinState.__dataclass_fields__})


def _others(laws, number):
    first = number - number % POSITIONS
    return {
        str(place - first + 1): laws[place]
        for place in range(first, min(first + POSITIONS, len(laws)))
        if place != number
    }
