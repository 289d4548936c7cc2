"""What each pin of an aircraft is held against: the records of its brake carried on to the day of the reading."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from api.wear_limits import scale_of
from db.pin_history import BrakePins, ReadPins, Since
from lifecycle.expected import (
    PinLaw,
    PinState,
    Step,
    carried_on,
    law_of_reading,
    rule_of_thumb,
    state_at_start,
)
from lifecycle.plausible import Against, Typed
from lifecycle.units import NM_PER_MM
from lifecycle.wear import PriorRate

STATE: Final = tuple(PinState.__dataclass_fields__)
PRIOR: Final = tuple(PriorRate.__dataclass_fields__)
GAUGE_MM: Final = 0.1
# Pins of one brake differ by so much where nobody has read them together (common practice, no source).
PINS_APART_MM: Final = 1.5


@dataclass(frozen=True)
class Expected:
    """Law of the governing pin of one brake, and the error of one reading, millimetres."""

    law: PinLaw
    measurement_mm: float


def expected_of(pins: BrakePins) -> Expected | None:
    """Return the law of the next governing reading; None where not even the length of a new pin is known."""
    now = state_before(pins)
    if now is None:
        return None
    ahead = replace(step_of(pins, pins.steps[-1]), resolution_mm=GAUGE_MM)
    return Expected(law_of_reading(now, ahead), now.measurement_sd)


def state_before(pins: BrakePins) -> PinState | None:
    """Return what is known of the governing pin after the last record before the day; None as in `expected_of`."""
    state = _state(pins)
    return None if state is None else carried_on(state, [step_of(pins, each) for each in pins.steps[:-1]])


def laws_of(pins: BrakePins, own: Expected) -> tuple[PinLaw, ...]:
    """Return the law of each pin of a brake: the governing one's, moved by what each was longer last time."""
    offsets = _offsets(_typed_pins(pins, _last(pins)), pins.pins)
    return tuple(_apart(own, offset) for offset in offsets)


def against_of(
    pins: BrakePins, expected: Mapping[str, Expected], laws: Mapping[str, tuple[PinLaw, ...]]
) -> tuple[Against, ...]:
    """Return what each pin of a brake is held against; both by position, without them only a new length counts."""
    own, new_mm = expected.get(pins.position), pins.new_pin_mm
    if own is None:
        return (Against(None, new_mm),) * pins.pins
    typed = _typed_pins(pins, _last(pins))
    return tuple(
        Against(
            law=law,
            new_mm=new_mm,
            last=typed[at] if len(typed) == pins.pins else None,
            renewed=pins.renewed,
            measurement_mm=own.measurement_mm,
            # A neighbour's brake is taken for this one pin by pin.
            others={
                name: each[min(at, len(each) - 1)] for name, each in laws.items() if name != pins.position
            },
        )
        for at, law in enumerate(laws[pins.position])
    )


def typed_as(text: str, unit: str, convention: str, pins: BrakePins) -> Typed:
    """Return a length as typed for this brake; where it cannot be told as length left, as it stands."""
    scale = scale_of(pins, convention)
    known = not math.isnan(scale.offset_nm)
    return Typed(text, unit, scale.sign, scale.offset_nm / NM_PER_MM) if known else Typed(text, unit)


def _state(pins: BrakePins) -> PinState | None:
    if pins.state is not None:
        return PinState(**{name: getattr(pins.state, name) for name in STATE})
    if pins.new_pin_mm is None:
        return None
    kept = pins.prior
    prior = PriorRate(**{name: getattr(kept, name) for name in PRIOR}) if kept else rule_of_thumb()
    return state_at_start(prior, pins.start_mm, pins.new_pin_mm)


def step_of(pins: BrakePins, since: Since) -> Step:
    """Landings and what came after them, as the wear model takes them."""
    read, shim = since.reading, since.reshim
    left_nm = scale_of(pins, read.convention).left_nm(read.pin_nm) if read else math.nan
    return Step(
        landings=since.flown.landings,
        landings_sd=since.flown.sd,
        left_mm=None if math.isnan(left_nm) else left_nm / NM_PER_MM,
        resolution_mm=read.resolution_nm / NM_PER_MM if read else 0.0,
        shim_mm=shim.step_mm if shim else 0.0,
        shim_sd_mm=shim.step_sd_mm if shim else 0.0,
    )


def _last(pins: BrakePins) -> ReadPins | None:
    return next((read for read in pins.readings if read.pin_nm >= 0), None)


def _typed_pins(pins: BrakePins, read: ReadPins | None) -> tuple[Typed, ...]:
    if read is None or not all(read.pins):
        return ()
    return tuple(typed_as(text, read.unit, read.convention, pins) for text in read.pins)


def _offsets(typed: Sequence[Typed], count: int) -> tuple[float | None, ...]:
    """By how much each pin was longer than the governing one; None where that is not known."""
    if len(typed) != count:
        return (0.0,) if count == 1 else (None,) * count
    governing = min(each.left_mm for each in typed)
    return tuple(each.left_mm - governing for each in typed)


def _apart(own: Expected, offset_mm: float | None) -> PinLaw:
    """Law of one pin: the governing one's, moved by what it was longer last time."""
    if offset_mm == 0.0:
        return own.law
    apart = PINS_APART_MM if offset_mm is None else math.sqrt(2.0) * own.measurement_mm
    middle = own.law.middle_mm + (offset_mm or 0.0)
    return replace(own.law, middle_mm=middle, sd_mm=math.hypot(own.law.sd_mm, apart))
