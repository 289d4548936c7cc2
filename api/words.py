"""Figures, days and kinds as words on a page: units attached, ranges no finer than they are known."""

import datetime as dt
import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Final

from lifecycle.units import NM_PER_UNIT, pin_letter

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
THIN: Final = "\N{NARROW NO-BREAK SPACE}"
FIRM: Final = "\N{NO-BREAK SPACE}"
MINUS: Final = "\N{MINUS SIGN}"
TO: Final = "\N{WORD JOINER}\N{EN DASH}\N{WORD JOINER}"
P90: Final = NormalDist().inv_cdf(0.9)
UNKNOWN: Final = "not known"
PIN: Final = "pin_"  # before the number of a pin in files
MATERIAL_MARKS: Final = {"steel": "\N{BLACK SQUARE}", "carbon": "\N{BLACK CIRCLE}"}


def number(value: float | None, decimals: int = 0) -> str:
    """12851 as `12 851`: groups of three apart by a thin space that does not break."""
    if value is None:
        return UNKNOWN
    text = f"{abs(value):,.{decimals}f}".replace(",", THIN)
    falls = value < 0 and float(f"{value:.{decimals}f}") != 0
    return f"{MINUS}{text}" if falls else text


def significant(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, never in powers of ten."""
    if value == 0:
        return "0"
    # Through the rounded value: 9.996 has the digits of 10.0.
    power = int(f"{value:.{digits - 1}e}".partition("e")[2])
    decimals = max(0, digits - 1 - power)
    return number(value, decimals)


def about(value: float, digits: int = 2) -> str:
    """A rough number: 259856 as `260 000`."""
    return number(float(f"{value:.{digits}g}")) if value >= 10 else significant(value, digits)


def exact(value: float, digits: int = 12) -> str:
    """A number as it was typed, without digits that nobody gave; worked-out ones to so many digits at most."""
    whole, point, part = f"{abs(float(f'{value:.{digits}g}')):.12f}".rstrip("0").partition(".")
    return f"{MINUS if value < 0 else ''}{number(int(whole))}{point if part else ''}{part}"


def counted(count: float, one: str, many: str = "") -> str:
    """`1 brake`, `12 brakes`."""
    return f"{number(count)}{FIRM}{one if count == 1 else many or one + 's'}"


def listed(items: Sequence[str], last: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def length_mm(value: float | None) -> str:
    """A length to 0.1 mm."""
    return UNKNOWN if value is None else f"{number(value, 1)}{FIRM}mm"


def inches(nanometres: int, resolution_nm: int) -> str:
    """A length typed in inches, to the decimals that it was typed with."""
    decimals = max(0, round(-math.log10(resolution_nm / NM_PER_UNIT["in"])))
    return f"{number(nanometres / NM_PER_UNIT['in'], decimals)}{FIRM}in"


def wear_rate(mm_per_landing: float) -> str:
    """Wear in mm per 1 000 landings, three digits."""
    return f"{significant(mm_per_landing * 1000)}{FIRM}mm per 1{THIN}000 landings"


def per_thousand(mm_per_landing: float) -> str:
    """The same figure where a heading carries the unit."""
    return significant(mm_per_landing * 1000)


def step_of(low: float, high: float) -> float:
    """What a range is rounded to: the power of ten at or under a tenth of its width."""
    width = abs(high - low)
    return 10.0 ** math.floor(math.log10(width / 10)) if width > 0 else 0.0


def rounded(value: float, low: float | None, high: float | None) -> str:
    """A figure no finer than a tenth of its range's width; three digits where an end of it is not known."""
    step = 0.0 if low is None or high is None else step_of(low, high)
    if step == 0:
        return significant(value)
    return number(round(value / step) * step, max(0, -round(math.log10(step))))


def ranged(low: float | None, high: float | None) -> str:
    """`810-1 040`, each end rounded to a tenth of the width."""
    if low is None or high is None:
        return UNKNOWN
    ends = (rounded(low, low, high), rounded(high, low, high))
    return ends[0] if ends[0] == ends[1] else TO.join(ends)


def eight_in_ten(middle: float, sd: float) -> str:
    """The range of 8 in 10 about a figure with a normal law."""
    return ranged(middle - P90 * sd, middle + P90 * sd)


def whole(value: float) -> int:
    """Whole things, a half upwards: what page, chart and file all call so many brakes."""
    return math.floor(value + 0.5)


def counts_ranged(low: float, high: float) -> str:
    """A range of whole things: `1-5`."""
    ends = (number(whole(low)), number(whole(high)))
    return ends[0] if ends[0] == ends[1] else TO.join(ends)


def money(value: float | None, currency: str) -> str:
    """An amount with its currency: two decimals under 1 000, whole above."""
    if value is None:
        return UNKNOWN
    return f"{currency}{FIRM}{number(value, 2 if abs(value) < 1000 else 0)}".strip()


def large_money(value: float | None, currency: str) -> str:
    """An amount as it is spoken of, to three digits: `EUR 3.42 million`, `EUR 45 600`."""
    if value is None:
        return UNKNOWN
    near = float(f"{value:.3g}")
    if abs(near) >= 1e6:
        return f"{currency}{FIRM}{significant(near / 1e6)}{FIRM}million"
    return f"{currency}{FIRM}{number(near) if abs(near) >= 100 else significant(near)}"


def money_scale(values: Sequence[float], currency: str) -> tuple[float, str]:
    """What to divide amounts by on an axis, and the unit that it then carries."""
    most = max(map(abs, values), default=0.0)
    if most >= 1e6:
        return 1e6, f"{currency} million"
    return (1e3, f"{currency} thousand") if most >= 1e4 else (1.0, currency)


def years(value: float | None) -> str:
    """Years to payback: `4.2 years`, or never."""
    return "never" if value is None else f"{number(value, 1)}{FIRM}years"


def with_unit(value: float, unit: str) -> str:
    """A worked-out figure to three digits with its unit: 0.031 of unit 1 as `3.1 %`, of `CUR/kg` as `0.85 CUR/kg`."""
    if unit == "1":
        return f"{exact(value * 100, 3)}{FIRM}%"
    figure = number(value) if abs(value) >= 1000 else exact(value, 3)
    return f"{figure}{FIRM}{unit}" if unit else figure


def percent(share: float | None, decimals: int = 0) -> str:
    """0.031 as `3 %`."""
    return UNKNOWN if share is None else f"{number(share * 100, decimals)}{FIRM}%"


def chance(share: float) -> str:
    """A risk as people say it: `1 in 10`, `1 in 4`, `1 in 2`; else in a hundred."""
    if share > 0 and abs(1 / share - round(1 / share)) < 1e-6:
        return f"1{FIRM}in{FIRM}{round(1 / share)}"
    return f"{round(share * 100)}{FIRM}in{FIRM}100"


def in_ten(share: float) -> str:
    """How sure, in ten: `8 in 10`; near certainty is never called certain."""
    if share > 0.95:
        return "more than 9 in 10"
    if share < 0.05:
        return "less than 1 in 10"
    return f"{max(1, min(9, round(share * 10)))}{FIRM}in{FIRM}10"


def day(value: dt.date | None) -> str:
    """A day in a sentence: `14 Mar 2026`."""
    return UNKNOWN if value is None else f"{value.day}{FIRM}{MONTHS[value.month - 1]}{FIRM}{value.year}"


def day_of(moment: str) -> str:
    """The day of a moment of the log, in a sentence."""
    return day(dt.date.fromisoformat(moment[:10]))


def iso(value: dt.date | None) -> str:
    """A day in a table or a field: `2026-03-14`."""
    return "" if value is None else value.isoformat()


def month(value: dt.date) -> str:
    """A month: `Mar 2026`."""
    return f"{MONTHS[value.month - 1]}{FIRM}{value.year}"


def month_short(value: dt.date) -> str:
    """A month in a heading; January carries the year."""
    return MONTHS[value.month - 1]


def days_between(low: dt.date | None, high: dt.date | None) -> str:
    """`between 3 May 2026 and 18 Aug 2026`; one day alone as `on`."""
    if low is None or high is None:
        return "on a day that is not known"
    return f"on {day(low)}" if low == high else f"between {day(low)} and {day(high)}"


def record_numbers(numbers: Sequence[int], most: int = 40) -> str:
    """Record numbers with their runs joined: `4-9, 12 and 210 more`."""
    runs: list[list[int]] = []
    for each in sorted(set(numbers)):
        if runs and each == runs[-1][-1] + 1:
            runs[-1][-1] = each
        else:
            runs.append([each, each])
    shown = [f"{low}" if low == high else f"{low}{TO}{high}" for low, high in runs[:most]]
    left = sum(high - low + 1 for low, high in runs[most:])
    return ", ".join(shown) + (f" and {number(left)} more" if left else "")


def pin(number: int) -> str:
    """A pin by the letter that stands on the sheet: pin 2 of a file is `pin B`."""
    return f"pin {pin_letter(number)}"


def name_in_words(name: str) -> str:
    """A name of files-and-fields in words: `fuel_price_per_kg` as `fuel price per kg`, `pin_2` as `pin B`."""
    if name.startswith(PIN) and name.removeprefix(PIN).isdecimal():
        return pin(int(name.removeprefix(PIN)))
    told = name.replace("_", " ").replace("co2", "CO2")
    return told.replace("takeoff", "take-off").replace("touch and gos", "touch-and-gos")


def material(name: str) -> str:
    """A heat sink's material with its mark: a square for steel, a circle for carbon."""
    return f"{MATERIAL_MARKS[name]}{FIRM}{name}" if name in MATERIAL_MARKS else name or "material not known"


def capital(text: str) -> str:
    """The first letter raised, the rest left as it is."""
    return text[:1].upper() + text[1:]


def way_told(source: str) -> str:
    """By which way an entry came; a command is told as such, since it may be given in any name."""
    first, _, rest = source.partition(" ")
    if first not in ("command", "import"):
        return source
    what = rest if first == "command" else source
    return f"by the command line{f': {what}' if what else ''}"


def sentence(text: str) -> str:
    """Text of an error or a warning as a sentence; a name such as `kit_cost` keeps its small letter."""
    first = text.partition(" ")[0]
    begun = text if "_" in first else capital(text)
    return begun if begun.endswith((".", "!", "?")) else f"{begun}."
