"""
An aircraft's brake positions seen from above, nose up, drawn from its type's table.

Positions named L... and R... go to their side; others are shared out from left to right in the order of the table, four
to a row from the front (common practice, no source). The drawing says which is which; it is not to scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

WIDE: Final = 44  # a spot, which is also as large as a finger
STEP: Final = 52
MIDDLE: Final = 28  # half of the free lane along the middle
HEAD: Final = 34
A_ROW: Final = 2  # on each side


@dataclass(frozen=True)
class Spot:
    """One position of the drawing, its upper left corner, and its place in the table."""

    at: int
    position: str
    group: str
    x: int
    y: int


@dataclass(frozen=True)
class Plan:
    """The drawing: its size, the line along the middle, and the spots."""

    width: int
    height: int
    middle: int
    spots: tuple[Spot, ...]


def plan_of(positions: Sequence[tuple[str, str]]) -> Plan:
    """Draw positions (name and group) in the order of the type's table."""
    left, right = _sides([name for name, _ in positions])
    a_row = min(A_ROW, max(len(left), len(right), 1))
    rows = max(-(-len(side) // a_row) for side in (left, right)) or 1
    half = MIDDLE + a_row * STEP
    spots = []
    for side, sign in ((left, -1), (right, 1)):
        for place, at in enumerate(side):
            row, column = divmod(place, a_row)
            # On the left the first of a row is the outer one, on the right the inner.
            out = a_row - 1 - column if sign < 0 else column
            x = half - MIDDLE - STEP * (out + 1) + (STEP - WIDE) if sign < 0 else half + MIDDLE + STEP * out
            spots.append(Spot(at, *positions[at], x, HEAD + row * STEP))
    return Plan(2 * half, HEAD + rows * STEP + 4, half, tuple(sorted(spots, key=lambda each: each.at)))


def _sides(names: Sequence[str]) -> tuple[list[int], list[int]]:
    """Places in the table that go to the left and to the right."""
    if names and all(name[:1].upper() in ("L", "R") for name in names):
        return [[at for at, name in enumerate(names) if name[:1].upper() == side] for side in ("L", "R")]  # type: ignore[return-value]
    across = 2 * A_ROW if len(names) % (2 * A_ROW) == 0 else len(names)
    half = -(-across // 2)
    left = [at for at in range(len(names)) if at % across < half]
    return left, [at for at in range(len(names)) if at not in left]
