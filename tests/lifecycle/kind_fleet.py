"""Invented fleets whose wear depends, by known amounts, on what their landings were like."""

from dataclasses import replace

import numpy as np
import pandas as pd

from lifecycle.exposure import Runs
from lifecycle.landing_kinds import AHEAD, COSINE, ENERGY, SINE, TOUCHES
from tests.lifecycle.wear_fleet import paths

RATE = 0.03


def counted_fleet(
    rng: np.random.Generator,
    types: dict[str, dict[str, float]],
    *,
    runs: int = 60,
    readings: int = 10,
    sizes=None,
) -> Runs:
    """
    Runs of each type with counters of touch-and-gos, landing energy and season.

    `sizes` gives runs and readings of types by name.
    The effects of a type are fractions of a landing's wear for one unit of a counter. Circuits come in spells, so that
    they bend; energy differs by aircraft and varies about it; the season turns once in about 1,000 landings.
    """
    parts, first = [], 0
    for number, (name, effects) in enumerate(types.items()):
        brakes, each = (sizes or {}).get(name, (runs, readings))
        parts.append(_one_type(rng, name, effects, brakes, each, number, first))
        first += brakes
    frames = [pd.concat(frame, ignore_index=True) for frame in zip(*parts, strict=True)]
    return Runs(*frames)


def _one_type(  # noqa: PLR0917 - what one type is
    rng, name, effects, runs, readings, number, first
):
    x, w = paths(rng, runs, readings, rate=RATE)
    step = np.diff(x, axis=1, prepend=0.0)
    angle = x / 1000.0 * 2 * np.pi + rng.uniform(0, 2 * np.pi, (runs, 1))
    heavy = rng.normal(0.0, 0.15, (runs, 1))
    growth = {
        TOUCHES: rng.gamma(0.5, 0.6, (runs, 1)) * (rng.random(x.shape) < 0.5),
        ENERGY: heavy + rng.normal(0.0, 0.02, x.shape),
        COSINE: np.cos(angle),
        SINE: np.sin(angle),
    }
    counters = {kind: np.cumsum(step * each, axis=1) for kind, each in growth.items()}
    for kind, effect in effects.items():
        w = w + RATE * effect * counters[kind]
    run = first + np.arange(runs)
    frame = pd.DataFrame(
        {
            "brake": run,
            "serial": [f"S{one}" for one in run],
            "brake_type": name,
            "run": 1,
            "known_start": True,
            "start_mm": 50.0,
            "landings": x[:, -1],
            "limit_mm": 10.0,
            "position_group": "in",
            "base": "A",
            "fitted": True,
        }
        | {kind + AHEAD: each.mean(axis=1) * (kind not in (COSINE, SINE)) for kind, each in growth.items()}
    )
    spans = frame[["run", "base", "position_group"]].assign(run=run, landings_from=0.0, landings_to=x[:, -1])
    read = pd.DataFrame(
        {
            "run": np.repeat(run, readings),
            "record": np.arange(x.size) + 100_000 * number,
            "landings": x.ravel(),
            "wear_mm": w.ravel(),
            "left_mm": 50.0 - w.ravel(),
            "usable": True,
            "why_not": "",
            "segment": 0,
            "resolution_mm": 0.1,
            "at_or_below": False,
        }
        | {kind: each.ravel() for kind, each in counters.items()}
    )
    return frame, spans, read


def plain(runs: Runs) -> Runs:
    """The same fleet by one who counts nothing but braked landings."""
    kinds = [column for column in runs.readings if column in (TOUCHES, ENERGY, COSINE, SINE)]
    return replace(
        runs,
        readings=runs.readings.drop(columns=kinds),
        runs=runs.runs.drop(columns=[kind + AHEAD for kind in kinds]),
    )
