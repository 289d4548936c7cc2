"""What the pins of a brake say beside its rate: uneven wear, and a last reading without the shortest pin."""

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import pandas as pd

from lifecycle.notes import Note

PER: Final = 1000  # landings that growth is told by


def pin_notes(pins: pd.DataFrame, readings: pd.DataFrame, runs: int) -> list[Note]:
    """
    Say where pins wear apart, and where the last reading was not of the governing pin.

    Parameters
    ----------
    pins : DataFrame
        `pins_apart.PinsApart.pins`.
    readings : DataFrame
        ``run``, ``day``, ``landings``, ``usable``, ``short_by_mm``.
    runs : int
        Number of runs r.

    Returns
    -------
    list of Note
        Each over the r runs.
    """
    return [_uneven(pins, runs), _unread(readings, runs)]


def _uneven(pins: pd.DataFrame, runs: int) -> Note:
    text = np.full(runs, "", dtype=object)
    governing = pins[pins["governs"]].set_index("run")["pin"]
    for row in _rows(pins[pins["uneven"]].sort_values("grown_mm")):
        faster, slower = governing[row.run], row.pin
        growth = sorted((row.growth_low * PER, row.growth_high * PER), key=abs)
        if row.growth < 0:
            faster, slower = slower, faster
        text[row.run] = (
            f"wears unevenly: pin {faster} faster than pin {slower} by {abs(row.growth) * PER:.1f} mm "
            f"per {PER} landings ({abs(growth[0]):.1f} to {abs(growth[1]):.1f}); look for the cause"
        )
    return Note(text != "", text)


def _rows(frame: pd.DataFrame) -> Iterator[Any]:
    return frame.itertuples(index=False)


def _unread(readings: pd.DataFrame, runs: int) -> Note:
    text = np.full(runs, "", dtype=object)
    used = readings[readings["usable"]].sort_values(["run", "day", "landings"], kind="stable")
    last = used.drop_duplicates("run", keep="last")
    for row in _rows(last[last["short_by_mm"] > 0]):
        text[row.run] = (
            f"its shortest pin was not read on {row.day.day} {row.day:%b %Y}: those read were on average "
            f"{row.short_by_mm:.1f} mm longer, which is taken off for the forecast; read all pins"
        )
    return Note(text != "", text)
