"""Where a figure comes from: said beside every figure, so that anyone can trace it to its records."""

from dataclasses import dataclass

from api.pages.frame import Scope
from lifecycle.assumptions import Assumption


@dataclass(frozen=True)
class Origin:
    """`what` names the figures; `formula` is in words; `records` says which record numbers, or where they stand."""

    what: str
    formula: tuple[str, ...]
    records: str
    scope: Scope
    assumptions: tuple[Assumption, ...] = ()
