"""Whether a reading just typed can be what the pin shows: as expected, a note, look again, or refused."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice, pairwise
from typing import Final

from lifecycle.expected import PinLaw
from lifecycle.units import NM_PER_MM, NM_PER_UNIT, exact_nm

AS_EXPECTED: Final = "as expected"
NOTE: Final = "note"
LOOK_AGAIN: Final = "look again"
REFUSED: Final = "refused"

NOTE_LEVEL: Final = 0.95
LOOK_LEVEL: Final = 0.99
# Two readings of a pin that has not worn differ by less, in errors of one reading (3 times root 2).
GROWN: Final = 4.25
LONGER: Final = 0.02  # longer than new by more than this share and one step of the gauge cannot be
INCH_MM: Final = 25.4
MOST_SLIPS: Final = 2


@dataclass(frozen=True)
class Typed:
    """
    A length as typed, and how it turns into length left: left = sign * length + offset.

    Attributes
    ----------
    text, unit : str
        Such as ``12.4`` and ``mm``; text that `units.exact_nm` takes.
    sign, offset_mm : float
        1 and 0 for length left; -1 and the new length (and gap) for gap and wear used.
    """

    text: str
    unit: str
    sign: float = 1.0
    offset_mm: float = 0.0

    @property
    def length_mm(self) -> float:
        """The length itself, millimetres."""
        return exact_nm(self.text, self.unit) / NM_PER_MM

    @property
    def left_mm(self) -> float:
        """Length left, millimetres."""
        return self.left_of(self.length_mm)

    @property
    def resolution_mm(self) -> float:
        """Step of the last digit typed, millimetres."""
        return NM_PER_UNIT[self.unit] / NM_PER_MM / 10.0 ** len(self.text.partition(".")[2])

    def left_of(self, length_mm: float) -> float:
        """
        Length left that another length of the same convention stands for.

        Parameters
        ----------
        length_mm : float
            In the convention typed, millimetres.

        Returns
        -------
        float
            Millimetres left.
        """
        return self.sign * length_mm + self.offset_mm


@dataclass(frozen=True)
class Against:
    """
    What a reading is held against.

    Attributes
    ----------
    law : PinLaw or None
        Of the next reading; None where nothing at all is known of the pin.
    new_mm : float or None
        Length of a new pin, millimetres.
    last : Typed or None
        The reading before, as typed.
    renewed : bool
        The pin may rightly have grown since (re-shim, new run).
    measurement_mm : float
        Error of one reading, standard deviation, millimetres.
    others : mapping of str to PinLaw
        Laws of the aircraft's other positions, by name.
    """

    law: PinLaw | None
    new_mm: float | None = None
    last: Typed | None = None
    renewed: bool = False
    measurement_mm: float = 0.0
    others: Mapping[str, PinLaw] = field(default_factory=dict)


@dataclass(frozen=True)
class Plausibility:
    """
    What is said of a reading before it is saved.

    Attributes
    ----------
    verdict : str
        ``as expected``, ``note``, ``look again`` or ``refused``.
    reason : str
        Why, in words; "" if as expected. It never holds a value that the reading could have been.
    slips : tuple of str
        What slip it looks like.
    expected : tuple of float or None
        95 % range of the length left, millimetres, within nothing and new.
    """

    verdict: str
    reason: str
    slips: tuple[str, ...]
    expected: tuple[float, float] | None


def judge(typed: Typed, against: Against) -> Plausibility:
    """
    Hold a reading against what is expected of its pin.

    Parameters
    ----------
    typed : Typed
        The reading.
    against : Against
        What it is held against.

    Returns
    -------
    Plausibility
        Refused only where it cannot be (longer than new, more worn than long). Look again outside the 99 % range, its
        ends told to the step of the gauge, or where the pin grew by more than readings differ. A note outside 95 %.

    Raises
    ------
    BadRecordsError
        If the text is not a length.
    """
    verdict, reason = _verdict(typed, against)
    expected = _clipped(against.law.band(NOTE_LEVEL), against.new_mm) if against.law else None
    slips: tuple[str, ...] = ()
    if verdict in (LOOK_AGAIN, REFUSED):
        slips = tuple(islice(_slips(typed, against), MOST_SLIPS))
    elif verdict == NOTE and _same(typed, against.last):
        slips = ("copied from last time",)
    return Plausibility(verdict, reason, slips, expected)


def _verdict(typed: Typed, against: Against) -> tuple[str, str]:
    impossible = _impossible(typed, against.new_mm)
    if impossible:
        return REFUSED, impossible
    law, left = against.law, typed.left_mm
    if law is None:
        return AS_EXPECTED, ""
    side = "shorter" if left < law.middle_mm else "longer"
    if not _within(left, law, LOOK_LEVEL, typed.resolution_mm):
        return LOOK_AGAIN, f"is {side} than 99 in 100 readings here would be"
    if _grown(typed, against):
        return LOOK_AGAIN, "is longer than the reading before, and no re-shim or new heat sink is on record"
    if not _within(left, law, NOTE_LEVEL, typed.resolution_mm):
        return NOTE, f"is {side} than 95 in 100 readings here would be"
    return AS_EXPECTED, ""


def _impossible(typed: Typed, new_mm: float | None) -> str:
    if new_mm is None:
        return ""
    room = new_mm * LONGER + typed.resolution_mm
    if typed.left_mm > new_mm + room:
        return "says that the pin is longer than new"
    return "says that more is worn than a new pin is long" if typed.left_mm < -room else ""


def _within(left_mm: float, law: PinLaw, level: float, step_mm: float = 0.0) -> bool:
    """Whether a length lies in the range, its ends told to the step of the gauge."""
    low, high = law.band(level)
    return low - step_mm / 2.0 <= left_mm <= high + step_mm / 2.0


def _grown(typed: Typed, against: Against) -> bool:
    if against.last is None or against.renewed:
        return False
    step = max(typed.resolution_mm, against.last.resolution_mm)
    return typed.left_mm > against.last.left_mm + GROWN * against.measurement_mm + step


def _same(typed: Typed, last: Typed | None) -> bool:
    return last is not None and abs(typed.left_mm - last.left_mm) < typed.resolution_mm / 2.0


def _slips(typed: Typed, against: Against) -> Iterator[str]:
    """What slips of hand or eye would explain the reading, the likeliest first."""
    law = against.law
    if law is None:
        return
    length, step = typed.length_mm, typed.resolution_mm

    def explains(length_mm: float, scale: float = 1.0) -> bool:
        return _within(typed.left_of(length_mm), law, LOOK_LEVEL, step * scale)

    if any(explains(length * factor, factor) for factor in (10.0, 0.1, 100.0, 0.01)):
        yield "a slip of the decimal point"
    if typed.unit == "mm" and explains(length * INCH_MM, INCH_MM):
        yield "inches written as millimetres"
    if typed.unit == "in" and explains(length / INCH_MM):
        yield "millimetres written as inches"
    if _same(typed, against.last):
        yield "copied from last time"
    if any(explains(swapped * NM_PER_UNIT[typed.unit] / NM_PER_MM) for swapped in _swapped(typed.text)):
        yield "two digits swapped"
    near = [name for name, other in against.others.items() if _within(typed.left_mm, other, NOTE_LEVEL, step)]
    if near:
        nearest = min(near, key=lambda name: abs(against.others[name].middle_mm - typed.left_mm))
        yield f"the brake in position {nearest}"


def _swapped(text: str) -> Iterator[float]:
    """The number with two neighbouring digits swapped, across the point too, for each pair that differs."""
    places = [place for place, sign in enumerate(text) if sign.isdigit()]
    for first, second in pairwise(places):
        if text[first] != text[second]:
            signs = list(text)
            signs[first], signs[second] = signs[second], signs[first]
            yield float("".join(signs))


def _clipped(band: tuple[float, float], new_mm: float | None) -> tuple[float, float]:
    low, high = (max(0.0, end) for end in band)
    return (low, high) if new_mm is None else (min(low, new_mm), min(high, new_mm))
