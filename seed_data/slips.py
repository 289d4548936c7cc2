"""Slips between the gauge and the paper, of the kinds that clerks know."""

from collections.abc import Callable
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.units import NM_PER_MM, NM_PER_UNIT
from seed_data.scenario import Scenario

MM_PER_INCH: Final = NM_PER_UNIT["in"] / NM_PER_MM
NEIGHBOUR: Final = "neighbour's brake"
LEAST_ERROR_MM: Final = 2.0  # a smaller one would pass for gauge error


def make_slips(scenario: Scenario, seen: pd.DataFrame, rng: np.random.Generator) -> None:
    """Spoil a few of the routine readings, in equal parts by kind; `slip` says which."""
    seen["slip"] = ""
    routine = np.flatnonzero(seen["occasion"] == "routine")
    struck = routine[rng.random(len(routine)) < scenario.readings.slip_share]
    kinds = [*MISTYPED, NEIGHBOUR]
    for turn, row in enumerate(struck):
        kind = kinds[turn % len(kinds)]
        if seen["slip"].iloc[row]:
            continue  # spoilt already, as its neighbour
        if kind == NEIGHBOUR:
            _neighbours_brake(seen, int(row))
        elif kind != "inch as mm" or seen["unit"].iloc[row] == "mm":
            _mistype(seen, int(row), kind, MISTYPED[kind])


def _mistype(seen: pd.DataFrame, row: int, kind: str, slip: Callable[[str], str]) -> None:
    """Spoil both pins in the same way, if the outcome can stand on a sheet and is wrong enough to matter."""
    mm_per_unit = MM_PER_INCH if seen["unit"].iloc[row] == "in" else 1.0
    for pin in ("pin_1", "pin_2"):
        typed = str(seen[pin].iloc[row])
        if typed:
            spoilt = slip(typed)
            error_mm = abs(float(spoilt) - float(typed)) * mm_per_unit
            if float(spoilt) * mm_per_unit <= seen["new"].iloc[row] and error_mm > LEAST_ERROR_MM:
                seen.loc[row, [pin, "slip"]] = [spoilt, kind]


def _inch_as_mm(typed: str) -> str:
    """Read in inches and written in a column of millimetres."""
    return f"{float(typed) / MM_PER_INCH:.3f}"


def _decimal_point(typed: str) -> str:
    """The point one place to the left."""
    return f"{float(typed) / 10:.2f}"


def _swapped_digits(typed: str) -> str:
    """The first two digits the other way round: 31.4 for 13.4."""
    first, second = [place for place, letter in enumerate(typed) if letter != "."][:2]
    letters = list(typed)
    letters[first], letters[second] = letters[second], letters[first]
    return "".join(letters)


MISTYPED: Final = {
    "inch as mm": _inch_as_mm,
    "decimal point": _decimal_point,
    "swapped digits": _swapped_digits,
}


def _neighbours_brake(seen: pd.DataFrame, row: int) -> None:
    """Two brakes of one aircraft read on one day stand in each other's line."""
    same = (seen["aircraft"] == seen["aircraft"].iloc[row]) & (seen["day"] == seen["day"].iloc[row])
    others = np.flatnonzero(same & (seen["occasion"] == "routine") & (seen["slip"] == ""))
    others = others[others != row]
    if len(others):
        other, pins = int(others[0]), ["pin_1", "pin_2"]
        seen.loc[[row, other], pins] = seen.loc[[other, row], pins].to_numpy()
        seen.loc[[row, other], "slip"] = NEIGHBOUR
