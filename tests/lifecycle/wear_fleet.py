"""Invented fleets with known wear, as the frames of `Runs`."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from lifecycle.exposure import Runs


@dataclass
class Brake:
    """One run as the tests write it: landings and wear of its readings."""

    landings: tuple[float, ...] = ()
    wear_mm: tuple[float, ...] = ()
    brake_type: str = "BT-1"
    known_start: bool = True
    position_group: str = "in"
    base: str = "A"
    flown_at: tuple[tuple[str, float, float], ...] = ()  # base, landings from, to
    segment: tuple[int, ...] = ()
    why_not: tuple[str, ...] = ()
    flown: float | None = None
    limit_mm: float = 10.0
    start_mm: float = 50.0
    resolution_mm: float = 0.1
    extra: dict[str, object] = field(default_factory=dict)


def runs_of(brakes: list[Brake]) -> Runs:
    """The frames of these brakes."""
    runs, spans, readings = [], [], []
    for number, brake in enumerate(brakes):
        flown = brake.flown if brake.flown is not None else max(brake.landings, default=0.0)
        runs.append(
            {
                "brake": number,
                "serial": f"S{number}",
                "brake_type": brake.brake_type,
                "run": 1,
                "known_start": brake.known_start,
                "start_mm": brake.start_mm,
                "landings": flown,
                "limit_mm": brake.limit_mm,
                "position_group": brake.position_group,
                "base": brake.base,
                "fitted": True,
            }
            | brake.extra
        )
        for base, first, last in brake.flown_at or ((brake.base, 0.0, flown),):
            spans.append(
                {
                    "run": number,
                    "base": base,
                    "position_group": brake.position_group,
                    "landings_from": first,
                    "landings_to": last,
                }
            )
        for place, (x, w) in enumerate(zip(brake.landings, brake.wear_mm, strict=True)):
            why = brake.why_not[place] if brake.why_not else ""
            readings.append(
                {
                    "run": number,
                    "record": 1000 * number + place,
                    "landings": x,
                    "wear_mm": w,
                    "left_mm": brake.start_mm - w,
                    "usable": not why,
                    "why_not": why,
                    "segment": brake.segment[place] if brake.segment else 0,
                    "resolution_mm": brake.resolution_mm,
                    "at_or_below": False,
                }
            )
    columns = [
        "run",
        "record",
        "landings",
        "wear_mm",
        "left_mm",
        "usable",
        "why_not",
        "segment",
        "resolution_mm",
    ]
    frame = (
        pd.DataFrame(readings)
        if readings
        else pd.DataFrame({name: pd.Series(dtype=float) for name in columns})
    )
    if not readings:
        frame["usable"] = frame["usable"].astype(bool)
        frame["why_not"] = frame["why_not"].astype(str)
    return Runs(pd.DataFrame(runs), pd.DataFrame(spans), frame)


def paths(
    rng: np.random.Generator,
    runs: int,
    readings: int,
    *,
    rate: float | np.ndarray = 0.03,
    rate_sd: float = 0.0036,
    path_sd: float = 0.05,
    measurement_sd: float = 0.2,
) -> tuple[np.ndarray, np.ndarray]:
    """Landings and wear, both (runs, readings), of the model itself; the figures are invented."""
    x = np.cumsum(rng.integers(30, 150, (runs, readings)), axis=1).astype(float)
    step = np.diff(x, axis=1, prepend=0.0)
    own = np.reshape(rng.normal(rate, rate_sd, runs), (runs, 1))
    path = np.cumsum(rng.normal(size=x.shape) * np.sqrt(step), axis=1)
    return x, own * x + path_sd * path + rng.normal(0.0, measurement_sd, x.shape)
