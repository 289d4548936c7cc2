"""Two plain ways to forecast that a forecast has to beat: the type's average life, a straight line through readings."""

from typing import Final

import numpy as np
import pandas as pd

from lifecycle.exposure import Runs
from lifecycle.wear import FleetFit

LAST_READINGS: Final = 5


def average_rate(frame: pd.DataFrame, fit: FleetFit) -> pd.Series:
    """
    What a brake of the type wears a landing on average, whatever its own readings say.

    Parameters
    ----------
    frame : DataFrame of n rows
        Column ``brake_type``.
    fit : FleetFit
        Of the fleet.

    Returns
    -------
    Series
        Millimetres a landing, n entries.
    """
    return (
        frame["brake_type"]
        .map({each.brake_type: each.rate_mm_per_landing for each in fit.types})
        .astype(float)
    )


def straight_lines(runs: Runs) -> pd.DataFrame:
    """
    Least-squares line through the last readings of each run.

    Parameters
    ----------
    runs : Runs
        Usable readings, in time order.

    Returns
    -------
    DataFrame, one row a run
        ``slope`` (mm a landing) and ``level`` (wear at no landings); NaN where there are not two readings apart, or
        they do not fall.
    """
    read = runs.readings[runs.readings["usable"]].groupby("run").tail(LAST_READINGS)
    x, w = read["landings"], read["wear_mm"]
    middle = pd.DataFrame({"x": x, "w": w}).groupby(read["run"]).transform("mean")
    dx, dw = x - middle["x"], w - middle["w"]
    sums = pd.DataFrame({"xx": dx**2, "xw": dx * dw}).groupby(read["run"]).sum()
    slope = (sums["xw"] / sums["xx"].where(sums["xx"] > 0)).where(lambda found: found > 0)
    means = middle.groupby(read["run"]).first()
    lines = pd.DataFrame({"slope": slope, "level": means["w"] - slope * means["x"]})
    return lines.reindex(runs.runs.index).astype(np.float64)
