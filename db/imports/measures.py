"""
Figures of a file in other units than ours: the unit that a column of ours is in, the others known, and the factor.

Factors are exact by definition: international foot and pound (1959), the nautical mile of 1852 m (NIST SP 811, 2008,
appendix B.8, from memory).
"""

from collections.abc import Mapping
from typing import Final

from db.files import Column
from db.files.column import NUMBERS

MEASURES: Final[Mapping[str, Mapping[str, float]]] = {
    "mm": {"mm": 1.0, "in": 25.4},
    "kg": {"kg": 1.0, "lb": 0.45359237},
    "kt": {"kt": 1.0, "km/h": 1 / 1.852, "m/s": 3.6 / 1.852},
    "h": {"h": 1.0, "min": 1 / 60},
}
ENDINGS: Final = {"_mm": "mm", "_kg": "kg", "_kt": "kt", "_hours": "h"}
OTHERWISE_NAMED: Final = {"start_pin": "mm"}


def unit_of(column: Column) -> str:
    """Return the unit in which a column is kept, empty where it has none or another column says it."""
    if column.kind not in NUMBERS:
        return ""
    ending = next((unit for end, unit in ENDINGS.items() if column.name.endswith(end)), "")
    return OTHERWISE_NAMED.get(column.name, ending)


def units_known(column: Column) -> tuple[str, ...]:
    """Return the units in which a file may give a column, ours first; none where there is nothing to choose."""
    return tuple(MEASURES.get(unit_of(column), ()))


def factor(column: Column, unit: str) -> float:
    """Return what a figure in this unit is multiplied by."""
    return MEASURES[unit_of(column)][unit]
