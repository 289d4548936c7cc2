"""A wear check as typed: every brake against its limit, its pins against what is expected, and the rows to save."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from api import words
from api.expectations import against_of
from api.pin_check import CheckedPin, Place, check_pin
from api.wear_basis import WearBasis
from api.wear_limits import is_due
from db.pin_history import BrakePins
from db.records.fleet import CONVENTIONS
from lifecycle.plausible import AS_EXPECTED
from lifecycle.units import NM_PER_UNIT, exact_nm

NOT_JUDGED: Final = "kept out of the rate (hot or brakes released); it never clears a low reading"
SHEET: Final = ("unit", "convention", "occasion", "reader", "work_order", "cold", "applied")
ANSWERS: Final = ("yes", "no", "not noted")
MUST_SAY: Final = {"cold": "whether the brakes were cold", "applied": "whether the brakes were applied"}


@dataclass(frozen=True)
class FieldError:
    """What is wrong in one field of the page."""

    field: str
    text: str


@dataclass(frozen=True)
class CheckedBrake:
    """One position of the sheet: its pins, which governs, and the words of a brake at or below its limit."""

    at: int
    pins: BrakePins
    typed: tuple[CheckedPin, ...]
    within: str = ""
    cold: str = ""
    applied: str = ""
    governs: str = ""
    limit_words: str = ""
    limit_missing: str = ""
    on_record: tuple[str, ...] = ()

    @property
    def filled(self) -> bool:
        """Whether anything was typed."""
        return bool(self.within or any(each.value for each in self.typed))


@dataclass(frozen=True)
class WearCheck:
    """The sheet as typed."""

    head: Mapping[str, str]
    brakes: tuple[CheckedBrake, ...]
    errors: tuple[FieldError, ...] = ()

    @property
    def asks(self) -> tuple[CheckedPin, ...]:
        """Pins to look at again."""
        return tuple(pin for brake in self.brakes for pin in brake.typed if pin.asks)


def check_sheet(basis: WearBasis, form: Mapping[str, str], *, posted: bool) -> WearCheck:
    """Return the sheet checked; `posted` also demands what saving takes."""
    head = head_of(basis, form)
    brakes = tuple(check_brake(basis, at, form) for at in range(len(basis.pins)))
    errors = tuple(_errors(head, brakes)) if posted else ()
    return WearCheck(head, brakes, errors)


def head_of(basis: WearBasis, form: Mapping[str, str]) -> dict[str, str]:
    """What is said once for the whole sheet; unit and convention as in the last reading unless typed."""
    reads = [each.readings[0] for each in basis.pins if each.readings]
    last = max(reads, key=lambda read: read.day, default=None)
    given = {name: form.get(name, "").strip() for name in SHEET}
    given["unit"] = given["unit"] if given["unit"] in NM_PER_UNIT else (last.unit if last else "mm")
    if given["convention"] not in CONVENTIONS:
        given["convention"] = last.convention if last else "left"
    return given


def check_brake(basis: WearBasis, at: int, form: Mapping[str, str]) -> CheckedBrake:
    """One position of the sheet against what is expected there."""
    pins, head = basis.pins[at], head_of(basis, form)
    if not pins.brake:
        return CheckedBrake(at, pins, ())
    own = {name: form.get(f"{name}-{at}", "") for name in ("within", "cold", "applied")}
    hot = "no" in ((own["cold"] or head["cold"]), (own["applied"] or head["applied"]))
    place = Place(basis.registration, pins, head["unit"], head["convention"])
    against = against_of(pins, {} if hot else basis.expected, basis.laws)
    typed = tuple(check_pin(place, f"{at}-{number}", each, form) for number, each in enumerate(against))
    if hot:
        typed = tuple(
            replace(each, said=NOT_JUDGED) if each.verdict == AS_EXPECTED else each for each in typed
        )
    limit = basis.limits[pins.brake]
    read = [each for each in typed if each.value and not (each.error or each.again_error)]
    governing = min(read, key=lambda each: place.governs_by(each.value), default=None)
    low = is_due(pins, limit) or own["within"] == "no"
    if governing:
        nm = float(exact_nm(governing.value, place.unit))
        low |= limit.reached(place.convention, nm, place.scale.left_nm(nm))
    return CheckedBrake(
        at,
        pins,
        typed,
        **own,
        governs=_governs(governing, place) if governing and _may_tell(typed) else "",
        limit_words=limit.words if low else "",
        limit_missing=limit.missing,
        on_record=tuple(_on_record(pins)),
    )


def rows_to_save(check: WearCheck, *, on: dt.date) -> tuple[dict[int, dict[str, str]], dict[int, str]]:
    """Rows of pin readings by place on the sheet, and why some of them are held."""
    rows, held = {}, {}
    for brake in check.brakes:
        if not brake.filled:
            continue
        looked = [each for each in brake.typed if each.looked]
        note = "; ".join(f"pin {each.letter} read again: {each.reason or 'another value'}" for each in looked)
        rows[brake.at] = {
            "serial": brake.pins.serial,
            "brake_type": brake.pins.brake_type,
            "day": on.isoformat(),
            **{f"pin_{place}": each.value for place, each in enumerate(brake.typed, 1)},
            **{name: check.head[name] for name in ("unit", "convention", "occasion", "reader", "work_order")},
            "within_limit": brake.within,
            "cold": _yes_no(brake.cold or check.head["cold"]),
            "brakes_applied": _yes_no(brake.applied or check.head["applied"]),
            "note": note,
        }
        if odd := [each for each in brake.typed if each.odd]:
            held[brake.at] = "; ".join(f"pin {each.letter}: {each.doubt}" for each in odd)
    return rows, held


def _yes_no(said: str) -> str:
    return said if said in ("yes", "no") else ""


def _may_tell(typed: tuple[CheckedPin, ...]) -> bool:
    """Which pin governs tells its value, and a pin that is to be read again is read blind."""
    return len(typed) > 1 and not any(each.asks for each in typed)


def _governs(pin: CheckedPin, place: Place) -> str:
    which = "shortest" if place.convention == "left" else "longest"
    return f"The {which} governs: pin {pin.letter}, {pin.value}{words.FIRM}{place.unit}."


def _on_record(pins: BrakePins) -> Iterator[str]:
    for read in pins.same_day:
        told = ", ".join(each for each in read.pins if each)
        value = f"{told}{words.FIRM}{read.unit}" if told else f"within the limit: {read.within_limit}"
        yield f"{value} ({read.state}{', ' + read.occasion if read.occasion else ''}), record {read.record}"


def _errors(head: Mapping[str, str], brakes: tuple[CheckedBrake, ...]) -> Iterator[FieldError]:
    for name, what in MUST_SAY.items():
        if head[name] not in ANSWERS:
            yield FieldError(name, f"Say {what}: yes, no or not noted.")
    for brake in brakes:
        for pin in brake.typed:
            for error, kind in ((pin.error, "pin"), (pin.again_error, "again"), (pin.why_error, "why")):
                if error:
                    yield FieldError(f"{kind}-{pin.at}", f"{pin.label}: {error}")
    if not any(brake.filled for brake in brakes):
        first = next((brake.typed[0].at for brake in brakes if brake.typed), "")
        yield FieldError(
            f"pin-{first}", "Nothing was typed; write at least one pin, or a check against the limit."
        )
