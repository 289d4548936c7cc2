"""Papers: when they came in, and the CSV files they end in."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from seed_data.scenario import Scenario

NEVER: Final = -(10**9)  # a day that has not come, or is not known


def days_late(scenario: Scenario, papers: int, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """How many days after the day itself each paper was first written down."""
    draw = rng.random(papers)
    late = np.zeros(papers, dtype=np.int64)
    edge = 0.0
    for share, least, most in scenario.papers.late:
        inside = (draw >= edge) & (draw < edge + share)
        late[inside] = rng.integers(least, most, int(inside.sum()), endpoint=True)
        edge += share
    return late


def calendar(scenario: Scenario, days: npt.ArrayLike) -> npt.NDArray[np.datetime64]:
    """Dates of days counted from the first day of the log; `NEVER` is no date."""
    counted = np.asarray(days, dtype=np.int64)
    dates = np.datetime64(scenario.first_day, "D") + counted.astype("timedelta64[D]")
    dates[counted == NEVER] = np.datetime64("NaT")
    return dates.astype("datetime64[s]")


def write_file(folder: Path, name: str, rows: Sequence[Mapping[str, Any]] | Mapping[str, Any]) -> None:
    """Write one file of the folder; what is missing is empty."""
    pd.DataFrame(rows).to_csv(
        folder / f"{name}.csv", index=False, lineterminator="\n", date_format="%Y-%m-%d"
    )
