"""Where a figure comes from: said beside every figure, so that anyone can trace it to its records."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from api import words
from api.pages.frame import Frame, Scope
from lifecycle.assumptions import Assumption
from lifecycle.study import Study

MOST_LISTED: Final = 400


@dataclass(frozen=True)
class Origin:
    """
    `what` names the figures, `records` the record numbers by kind; the formulas stand in the template.

    `again` is an address that gives these figures whatever is recorded later.
    """

    what: str
    records: tuple[str, ...]
    assumptions: tuple[Assumption, ...]
    scope: Scope
    again: str = ""


def origin_of(
    frame: Frame, study: Study, what: str, *, kinds: Sequence[str], assumptions: Collection[str] = ()
) -> Origin:
    """What stands behind figures that take in every record of these kinds, and the assumptions of these names."""
    return Origin(
        what=what,
        records=tuple(numbers_told(kind, getattr(study.records, kind)["record"]) for kind in kinds),
        assumptions=tuple(item for item in study.assumptions.items if item.name in assumptions),
        scope=frame.told_scope,
        again=again_at(frame),
    )


def again_at(frame: Frame) -> str:
    """Where this page shows the same whatever is recorded later: its days and the head of the log written out."""
    scope = frame.told_scope
    return frame.link(on=f"{scope.on}", known_on=f"{scope.known_on}", known_head=scope.head)


def numbers_told(kind: str, numbers: npt.ArrayLike) -> str:
    """`Pin readings: 59341-82745`: each number of a few records, first and last of many."""
    name, known = words.capital(words.name_in_words(kind)), np.asarray(numbers, dtype=np.int64)
    if known.size == 0:
        return f"{name}: none"
    if known.size <= MOST_LISTED:
        return f"{name}: {words.record_numbers(known.tolist())}"
    return f"{name}: {words.number(known.size)} records between {known.min()} and {known.max()}"
