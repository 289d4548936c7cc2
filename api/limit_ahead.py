"""What the readings just saved say of the landings left, from the figures of the last study: no fit is made for it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from api.expectations import state_before, step_of
from api.wear_basis import WearBasis
from api.wear_limits import is_due
from db.pin_history import BrakePins, ReadPins, Since
from lifecycle.expected import GATE, PinState, carried_on, law_of_reading
from lifecycle.left_now import LandingsLeft, landings_left
from lifecycle.units import NM_PER_MM


@dataclass(frozen=True)
class LimitAhead:
    """Landings left by the readings of one brake on the day, and the study whose figures say so."""

    serial: str
    brake_type: str
    left: LandingsLeft
    study: str


def limits_ahead(basis: WearBasis) -> Mapping[int, LimitAhead]:
    """
    Landings left of the brakes read on the day, by their place on the sheet.

    Left out: brakes at their limit, readings that do not count or have a pin left out, a reading that the brake's path
    does not explain, brakes of which no study is kept yet, and days before the study's last reading.
    """
    found = ((at, _ahead(pins, basis)) for at, pins in enumerate(basis.pins) if pins.brake)
    return {at: ahead for at, ahead in found if ahead}


def _ahead(pins: BrakePins, basis: WearBasis) -> LimitAhead | None:
    kept = pins.state or pins.prior
    limit, before = basis.limits[pins.brake], state_before(pins)
    reads = [each for each in pins.same_day if each.usable and all(each.pins)]
    if kept is None or before is None or not reads or math.isnan(limit.left_nm) or is_due(pins, limit):
        return None
    state = before
    if pins.state is None or pins.state.since < basis.on:
        read = _after(before, pins, reads)
        if read is None:
            return None
        state = read
    elif pins.state.since > basis.on:
        return None
    left = landings_left(state, limit.left_nm / NM_PER_MM)
    return LimitAhead(pins.serial, pins.brake_type, left, kept.study) if math.isfinite(left.p90) else None


def _after(state: PinState, pins: BrakePins, reads: list[ReadPins]) -> PinState | None:
    """The state with the readings of the day in it; None where one is too far off to count."""
    for number, read in enumerate(reads):
        flown = pins.steps[-1].flown
        step = step_of(pins, Since(flown if number == 0 else replace(flown, landings=0.0, sd=0.0), read))
        law = law_of_reading(state, step)
        if step.left_mm is None or abs(step.left_mm - law.middle_mm) > GATE * law.sd_mm:
            return None
        state = carried_on(state, [step])
    return state
