"""Where a figure comes from: said beside every figure, so that anyone can trace it to its records."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from api import words
from api.pages.frame import Frame, Scope
from lifecycle.assumptions import Assumption
from lifecycle.study import Study

MOST_LISTED: Final = 400


@dataclass(frozen=True)
class Origin:
    """`what` names the figures, `records` the record numbers by kind; the formulas stand in the template."""

    what: str
    records: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    scope: Scope


def origin_of(
    frame: Frame, study: Study, what: str, *, kinds: Sequence[str], assumptions: Collection[str] = ()
) -> Origin:
    """What stands behind figures that take in every record of these kinds, and the assumptions of these names."""
    return Origin(
        what=what,
        records=tuple(numbers_told(kind, getattr(study.records, kind)["record"].tolist()) for kind in kinds),
        assumptions=tuple(item for item in study.assumptions.items if item.name in assumptions),
        scope=frame.told_scope,
    )


def numbers_told(kind: str, numbers: Sequence[int]) -> str:
    """`pin readings 59341-82745`: each number of a few records, first and last of many."""
    name = words.capital(words.name_in_words(kind))
    if not numbers:
        return f"{name}: none"
    if len(numbers) <= MOST_LISTED:
        return f"{name}: {words.record_numbers(numbers)}"
    return f"{name}: {len(numbers)} records between {min(numbers)} and {max(numbers)}"
