"""One pin as typed, held against what is expected of it: what is said, and whether it must be read again."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from api import words
from api.expectations import typed_as
from api.wear_limits import Scale, scale_of
from db.imports.numbers import parse_length
from db.imports.refused import CellError
from db.pin_history import BrakePins
from lifecycle.plausible import AS_EXPECTED, LOOK_AGAIN, REFUSED, Against, Plausibility, judge
from lifecycle.units import NM_PER_MM, NM_PER_UNIT, exact_nm, pin_letter

REASONS: Final = ("read again, the same", "re-shimmed", "new heat sink", "other")
OTHER: Final = len(REASONS)
FIELDS: Final = ("pin", "again", "why", "words")


@dataclass(frozen=True)
class Place:
    """Where a pin is read: aircraft, position and brake, and the unit and convention of the sheet."""

    registration: str
    pins: BrakePins
    unit: str
    convention: str

    @property
    def scale(self) -> Scale:
        """How lengths typed here turn into length left."""
        return scale_of(self.pins, self.convention)

    def governs_by(self, text: str) -> float:
        """The pin with the least of this governs: length left, or the length itself where new is not on record."""
        nm = float(exact_nm(text, self.unit))
        scale = self.scale
        return scale.sign * nm if math.isnan(scale.offset_nm) else scale.left_nm(nm)


@dataclass(frozen=True)
class CheckedPin:
    """One pin as typed; `asks` that it be read again, `odd` that it would be held."""

    at: str
    letter: str
    label: str
    first: str = ""
    again: str = ""
    why: str = ""
    own_words: str = ""
    verdict: str = ""
    said: str = ""
    error: str = ""
    again_error: str = ""
    why_error: str = ""
    looked: bool = False
    asked: str = ""
    doubt: str = ""

    @property
    def value(self) -> str:
        """What counts: the second reading where there is one."""
        return self.again or self.first

    @property
    def asks(self) -> bool:
        """Whether somebody must look at the pin again before it is saved."""
        return self.looked and not self.again

    @property
    def odd(self) -> bool:
        """Whether it is saved as held."""
        return self.looked and bool(self.again) and self.verdict == LOOK_AGAIN

    @property
    def reason(self) -> str:
        """The numbered reason in words."""
        number = int(self.why) if self.why.isdecimal() and 1 <= int(self.why) <= OTHER else 0
        told = f"{number} {REASONS[number - 1]}" if number else ""
        return f"{told}: {self.own_words}" if told and self.own_words else told or self.own_words


def check_pin(place: Place, at: str, against: Against, form: Mapping[str, str]) -> CheckedPin:
    """Hold one pin (`at`: its brake's place on the sheet and its own number) against what is expected of it."""
    given = {key: form.get(f"{key}-{at}", "").strip() for key in FIELDS}
    letter = pin_letter(int(at.partition("-")[2]) + 1)
    label = f"{place.registration}, position {place.pins.position}, pin {letter}, {place.unit}"
    pin = CheckedPin(at, letter, label, first=given["pin"])
    if not pin.first:
        return pin
    found = _judged(pin.first, place, against)
    if isinstance(found, str):
        return replace(pin, error=found)
    if found.verdict != LOOK_AGAIN:
        return replace(pin, verdict=found.verdict, said=_said(found, place))
    text = _look_again(found)
    looked = replace(pin, verdict=LOOK_AGAIN, looked=True, said=text, asked=text)
    again = replace(looked, again=given["again"], why=given["why"], own_words=given["words"])
    return _read_again(again, place, against) if again.again else looked


def _read_again(pin: CheckedPin, place: Place, against: Against) -> CheckedPin:
    found = _judged(pin.again, place, against)
    if isinstance(found, str):
        return replace(pin, again_error=found)
    said = _said(found, place)
    if found.verdict != LOOK_AGAIN:
        return replace(pin, verdict=found.verdict, said=said)
    error = "" if _reasoned(pin) else "say why it stays: choose 1 to 4, for 4 in your own words"
    kept = f"{said}; it is kept, and held until a second person rules."
    return replace(pin, said=kept, doubt=said, why_error=error)


def _reasoned(pin: CheckedPin) -> bool:
    if not pin.why.isdecimal() or not 1 <= int(pin.why) <= OTHER:
        return False
    return int(pin.why) < OTHER or bool(pin.own_words)


def _judged(text: str, place: Place, against: Against) -> Plausibility | str:
    """Return the verdict, or why this can be no reading; nothing is ever repaired."""
    try:
        clean = parse_length(text)
    except CellError as error:
        return f"{text!r} {error.rule}; write the length as read, with one point"
    if math.isnan(place.scale.offset_nm):
        return Plausibility(AS_EXPECTED, "", (), None)
    found = judge(typed_as(clean, place.unit, place.convention, place.pins), against)
    return _refusal(text, found, place.pins) if found.verdict == REFUSED else found


def _refusal(text: str, found: Plausibility, pins: BrakePins) -> str:
    new = f" ({pins.new_pin_mm:g}{words.FIRM}mm)" if pins.new_pin_mm else ""
    return f"{text} {found.reason}{new}; check length, unit and convention.{_slips(found)}"


def _look_again(found: Plausibility) -> str:
    return f"Look at the pin again: this {found.reason}.{_slips(found)}"


def _slips(found: Plausibility) -> str:
    return f" It looks like {words.listed(found.slips, 'or')}." if found.slips else ""


def _said(found: Plausibility, place: Place) -> str:
    if found.expected is None:
        return "nothing on record to hold it against"
    told = f"expected {_range(found.expected, place)}"
    if found.verdict == AS_EXPECTED:
        return told
    slips = f"; it looks like {words.listed(found.slips, 'or')}" if found.slips else ""
    return f"This {found.reason}{slips}; {told}"


def _range(left_mm: tuple[float, float], place: Place) -> str:
    """A range of lengths left, in the unit and convention of the sheet."""
    scale, unit = place.scale, place.unit
    ends = sorted((left - scale.offset_nm / NM_PER_MM) * scale.sign for left in left_mm)
    decimals, per_unit = (3 if unit == "in" else 1), NM_PER_UNIT[unit] / NM_PER_MM
    low, high = (words.number(max(end, 0.0) / per_unit, decimals) for end in ends)
    return f"\N{ALMOST EQUAL TO}\N{NARROW NO-BREAK SPACE}{low} to {high}{words.FIRM}{unit}"
