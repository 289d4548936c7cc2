"""What the pins of a brake say beside its rate: uneven wear, and a last reading without the shortest pin."""

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.notes import Note
from lifecycle.units import pin_letter

PER: Final = 1000  # landings that growth is told by


def never_read(
    lengths: npt.NDArray[np.float64], run: npt.NDArray[np.int64], pins: npt.NDArray[np.float64]
) -> Note:
    """
    Say which pins of a run that was read were never read: one of them may be the shortest.

    Parameters
    ----------
    lengths : array of shape (n, n_pins)
        Lengths of the pins of n readings, NaN where not read.
    run : array of shape (n,)
        Number of each reading's run, counted from 0.
    pins : array of shape (r,)
        Number of pins of the brake type of each of r runs, NaN where not on record.

    Returns
    -------
    Note
        Over the r runs.
    """
    seen = np.zeros((len(pins), max(lengths.shape[1], int(np.nanmax(pins, initial=1)))), dtype=bool)
    np.logical_or.at(seen[:, : lengths.shape[1]], run, np.isfinite(lengths))
    text = np.full(len(pins), "", dtype=object)
    for number in np.flatnonzero(seen.any(axis=1) & (seen.sum(axis=1) < pins)):
        left = [pin_letter(int(pin) + 1) for pin in np.flatnonzero(~seen[number, : int(pins[number])])]
        text[number] = (
            f"pin {' and '.join(left)} never read in this run: a shorter one would be due sooner; read all pins"
        )
    return Note(text != "", text)


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
        faster, slower = pin_letter(governing[row.run]), pin_letter(row.pin)
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
