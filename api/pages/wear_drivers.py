"""What drives wear: what the wear of each brake type depends on beside the number of its landings."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request, Response

from api import words
from api.access import need
from api.deps import AskedStudy
from api.pages.brake_types import types_of
from api.pages.frame import Frame, render
from api.pages.navigation import WEAR_DRIVERS
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle.study import Study, refit
from lifecycle.wear import TypeFit
from lifecycle.wear_drivers import ENERGY, WearDriver

router = APIRouter(dependencies=[need("fleet.read")])

BEHIND: Final = ("landings", "pin_readings", "installations", "events", "aircraft_changes")


@dataclass(frozen=True)
class DrivenType:
    """One brake type: its mean rate, and each thing its wear may depend on."""

    brake_type: str
    material: str
    rate_mm_per_landing: float
    drivers: tuple[WearDriver, ...]


@dataclass(frozen=True)
class DriverRow:
    """One line of the file."""

    brake_type: str
    effect: WearDriver


@dataclass(frozen=True)
class WearDriversPage:
    """What wear_drivers.html receives."""

    frame: Frame
    answer: str
    more: tuple[str, ...]
    types: tuple[DrivenType, ...]
    untold: tuple[str, ...]
    origin: Origin


@router.get(WEAR_DRIVERS.path)
def wear_drivers(request: Request, study: AskedStudy, form: AskedForm) -> Response:
    """The page, or its tables as one file."""
    found = refit(study, drivers=True).types
    if form:
        return download(rows(found), name="wear-drivers", form=form, head=study.ledger_head)
    return render("wear_drivers.html", page_of(frame_of(request, WEAR_DRIVERS, study), study, found))


def rows(found: Sequence[TypeFit]) -> tuple[DriverRow, ...]:
    """Every effect of every type, a line each."""
    return tuple(DriverRow(one.brake_type, driver) for one in found for driver in one.drivers)


def page_of(frame: Frame, study: Study, found: Sequence[TypeFit]) -> WearDriversPage:
    """What the template shows of the types."""
    types = types_of(study)
    told = tuple(
        DrivenType(one.brake_type, types.material(one.brake_type), one.rate_mm_per_landing, one.drivers)
        for one in found
        if one.drivers
    )
    return WearDriversPage(
        frame=frame,
        answer=answer(told),
        more=by_energy(told),
        types=told,
        untold=tuple(one.brake_type for one in found if not one.drivers),
        origin=origin_of(frame, study, "what drives wear", kinds=BEHIND),
    )


def answer(types: Sequence[DrivenType]) -> str:
    """Which drivers help to explain wear, and of which types."""
    helping: dict[str, list[str]] = {}
    for one in types:
        for name in dict.fromkeys(driver.driver for driver in one.drivers if driver.helps):
            helping.setdefault(name, []).append(one.brake_type)
    if not helping:
        return "Nothing on record explains wear better than the number of braked landings."
    told = [f"{name} (on {words.listed(kinds)})" for name, kinds in helping.items()]
    return f"Beside the number of landings, wear depends on {words.listed(told)}."


def by_energy(types: Sequence[DrivenType]) -> tuple[str, ...]:
    """How much of each type's wear goes with the energy of its landings; then the types that do not tell it."""
    found = [(one, driver) for one in types for driver in one.drivers if driver.driver == ENERGY]
    told = [_part_by_energy(one, driver) for one, driver in found if driver.told]
    if open_ones := [(one, driver) for one, driver in found if not driver.told]:
        ranges = words.listed([f"from {_range(driver)} for {_named(one)}" for one, driver in open_ones])
        too_wide = "the range (8 in 10) is" if len(open_ones) == 1 else "the ranges (8 in 10) are"
        told.append(
            f"The records do not tell yet whether wear goes with the energy of the landings (100{words.FIRM}%) or with "
            f"their number (0{words.FIRM}%): {too_wide} too wide, {ranges}."
        )
    if unmeasured := [_named(one) for one in types if one not in [each for each, _ in found]]:
        told.append(
            f"Heavy and light landings of {words.listed(unmeasured)} are not told apart on record, so nothing is known "
            "of energy there."
        )
    return tuple(told)


def _range(driver: WearDriver) -> str:
    low, high = 100 * driver.low, 100 * driver.high
    ends = (words.rounded(end, low, high) for end in (low, high))
    return f"{words.FIRM}%{words.FIRM}to{words.FIRM}".join(ends) + f"{words.FIRM}%"


def _named(one: DrivenType) -> str:
    return f"{one.brake_type} ({one.material})" if one.material else one.brake_type


def _part_by_energy(one: DrivenType, driver: WearDriver) -> str:
    """The interval within none and all of it, which is what a part can be."""
    low, high = max(driver.low, 0.0), min(driver.high, 1.0)
    if high <= 0:
        part = "hardly any"
    elif low >= 1:
        part = "all"
    elif low <= 0:
        part = f"at most {words.percent(high)}"
    elif high >= 1:
        part = f"{words.percent(low)} or more"
    else:
        part = f"{words.percent(low)} to {words.percent(high)}"
    rest = "" if low >= 1 else "; the rest with the number of landings"
    return f"Of the wear of {_named(one)}, {part} goes with landing energy (8 in 10){rest}."
