"""Invented fleets with known wear, as the frames of `Runs`."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from lifecycle.exposure import Runs

# Names and types of the readings frame, so far as the wear fit reads it.
NO_READING = {
    "run": np.array([], dtype=np.int64),
    "record": np.array([], dtype=np.int64),
    "landings": np.array([], dtype=float),
    "wear_mm": np.array([], dtype=float),
    "left_mm": np.array([], dtype=float),
    "usable": np.array([], dtype=bool),
    "why_not": pd.array([], dtype="str"),
    "segment": np.array([], dtype=np.int64),
    "resolution_mm": np.array([], dtype=float),
    "at_or_below": np.array([], dtype=bool),
}
COLUMNS = list(NO_READING)


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
    return Runs(
        pd.DataFrame(runs), pd.DataFrame(spans), pd.DataFrame(readings or NO_READING, columns=COLUMNS)
    )


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
