"""Uncertain inputs of a retrofit: draws of all at once, and the swing of the result over each one's own range."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from lifecycle.assumptions import Assumption
from lifecycle.cashflow import Sample

FloatArray = npt.NDArray[np.float64]

Z80: Final = float(ndtri(0.9))
WEAR, WEAR_RATIO, LANDINGS = "wear", "wear_ratio", "landings"


@dataclass(frozen=True)
class Input:
    """
    One uncertain input with its P10 and P90, in its own unit.

    ``item`` is the assumption it is, or None for what was measured: then ``part`` is the field of `Sample` that it
    multiplies, and ``value`` what a factor of 1 stands for.
    """

    name: str
    value: float
    low: float
    high: float
    item: Assumption | None = None
    part: str = ""


@dataclass(frozen=True)
class Driver:
    """Net present value when one input runs over its own sourced P10 to P90 and the others stay."""

    name: str
    low: float
    high: float
    npv_low: float
    npv_high: float


def ranged(items: Sequence[Assumption]) -> tuple[Input, ...]:
    """
    Inputs of the assumptions that have a range.

    Parameters
    ----------
    items : sequence of Assumption
        Each becomes one input wherever it is used, so that what two sides share moves both.

    Returns
    -------
    tuple of Input
        Named by the assumption and its scope.
    """
    return tuple(
        Input(_name(item), item.value, item.low, item.high, item)
        for item in items
        if item.low is not None and item.high is not None and item.low < item.high
    )


def _name(item: Assumption) -> str:
    return " ".join(part for part in (item.name, item.brake_type, item.aircraft_type, item.base) if part)


def draw(inputs: Sequence[Input], rng: np.random.Generator, size: int) -> Sample:
    """
    Draw every input at once.

    Parameters
    ----------
    inputs : sequence of Input
        Taken as independent of each other.
    rng : Generator
        Where the draws come from.
    size : int
        Number of draws.

    Returns
    -------
    Sample
        Each input from two half normals that meet at its value and have its P10 and P90; one that cannot be
        negative (value and P10 at least 0) stops at 0.
    """
    values = {one: spread(one, rng.standard_normal(size)) for one in inputs}
    return _sample(values, size)


def spread(one: Input, score: FloatArray) -> FloatArray:
    """
    Values of an input at standard normal scores.

    Parameters
    ----------
    one : Input
        The input.
    score : array of float
        Scores; -1.28 is its P10, 0 its value, 1.28 its P90.

    Returns
    -------
    array of float, same shape
        In its unit.
    """
    slope = np.where(score < 0, one.value - one.low, one.high - one.value) / Z80
    values = one.value + score * slope
    return np.asarray(np.maximum(values, 0.0) if min(one.value, one.low) >= 0 else values)


def swing(inputs: Sequence[Input]) -> Sample:
    """
    Each input at its low and its high in turn, the others at their value.

    Parameters
    ----------
    inputs : sequence of Input
        k of them.

    Returns
    -------
    Sample
        Of 1 + 2 k columns: none moved, then low and high of each.
    """
    size = 1 + 2 * len(inputs)
    values = {one: np.full(size, one.value) for one in inputs}
    for place, one in enumerate(inputs):
        values[one][1 + 2 * place : 3 + 2 * place] = one.low, one.high
    return _sample(values, size)


def drivers_of(inputs: Sequence[Input], worth: FloatArray, *, most: int = 7) -> tuple[Driver, ...]:
    """
    The widest swings.

    Parameters
    ----------
    inputs : sequence of Input
        As in `swing`.
    worth : array of shape (1 + 2 k,)
        Net present value of each column of `swing`.
    most : int
        How many to keep.

    Returns
    -------
    tuple of Driver
        Widest first.
    """
    pairs = worth[1:].reshape(-1, 2)
    found = [
        Driver(one.name, one.low, one.high, float(low), float(high))
        for one, (low, high) in zip(inputs, pairs, strict=True)
    ]
    found.sort(key=lambda one: -abs(one.npv_high - one.npv_low))
    return tuple(found[:most])


def turning_point(driver: Driver, value: float, npv: float) -> float | None:
    """
    Value of one input at which the result would be zero, the others as they are.

    Parameters
    ----------
    driver : Driver
        Its swing.
    value, npv : float
        The input's value and the result there.

    Returns
    -------
    float or None
        By straight lines between P10, value and P90; None where the result keeps its sign over the range.
    """
    for end, at_end in ((driver.low, driver.npv_low), (driver.high, driver.npv_high)):
        if npv * at_end < 0:
            return value + (end - value) * npv / (npv - at_end)
    return None


def _sample(values: dict[Input, FloatArray], size: int) -> Sample:
    measured = {one.part: column / one.value for one, column in values.items() if one.item is None}
    return Sample(
        size=size,
        settings={one.item: column for one, column in values.items() if one.item is not None},
        wear=measured.get(WEAR, 1.0),
        wear_ratio=measured.get(WEAR_RATIO, 1.0),
        landings=measured.get(LANDINGS, 1.0),
    )
