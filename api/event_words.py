"""What stands beside the brakes of a rejected take-off or an overheat, and the energy each wheel may have taken."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from api import words
from db.notices import Notice
from lifecycle.landings import energy_per_wheel_j

RECORDED: Final = "Event recorded. Follow the manual's procedure for it. No inspection is recorded here."
INSPECTED: Final = "Inspection recorded, work order {}."
J_PER_MJ: Final = 1e6


@dataclass(frozen=True)
class NoticeTold:
    """A notice in words; `energy` is an estimate with its inputs, "" where speed or mass is not known."""

    notice: Notice
    what: str
    text: str
    inspected: str
    energy: str


def told_notices(found: Iterable[Notice]) -> tuple[NoticeTold, ...]:
    """Put notices into words, in their order."""
    return tuple(
        NoticeTold(
            each,
            f"{each.kind.capitalize()}, {each.registration}"
            f"{f', position {each.position}' if each.position else ''}, {words.day(each.day)}.",
            INSPECTED.format(each.inspection.work_order) if each.inspection else RECORDED,
            words.day(each.inspection.day) if each.inspection else "",
            energy_told(each),
        )
        for each in found
    )


def energy_told(notice: Notice) -> str:
    """Say what each braked wheel may have taken up, 0.1323 m V^2 / N, with what went in; never a judgement."""
    if not (notice.mass_kg and notice.speed_kt and notice.wheels):
        return ""
    inputs = (np.array(float(each)) for each in (notice.mass_kg, notice.speed_kt, notice.wheels))
    joules = float(energy_per_wheel_j(*inputs))
    return (
        f"\N{ALMOST EQUAL TO}\N{NARROW NO-BREAK SPACE}{words.significant(joules / J_PER_MJ)}{words.FIRM}MJ a wheel, "
        f"an estimate from {words.number(notice.mass_kg)}{words.FIRM}kg, {words.exact(notice.speed_kt)}{words.FIRM}kt "
        f"and {words.counted(notice.wheels, 'braked wheel')}"
    )
