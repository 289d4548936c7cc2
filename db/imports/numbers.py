"""Numbers from text, exactly; what is not one is refused with what to write instead, never repaired."""

import math
import re
from collections.abc import Callable
from typing import Final

from db.imports.refused import CellError

PLAIN: Final = re.compile(r"-?[0-9]+(\.[0-9]+)?")
NUMBER: Final = re.compile(r"-?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?")
WHOLE: Final = re.compile(r"-?[0-9]+(\.0+)?")
LARGEST_COUNT: Final = 1_000_000_000
LARGEST: Final = 1e15
LONGEST_LENGTH: Final = 10_000
DECIMALS: Final = 5

UNKNOWN: Final = "leave the cell empty where the value is not known"
WRITE_DECIMAL: Final = "write the decimal that was read, such as 12.4"
WRITE_WHOLE: Final = "write the whole number that was counted"
# What is found instead of numbers, what is wrong with it, what to write; a guess at the value is left to the writer.
Meant = Callable[[re.Match[str]], str]
FORMS: Final[tuple[tuple[re.Pattern[str], str, Meant], ...]] = (
    (re.compile(r"(?i)[+-]?(nan|inf|infinity)"), "is not a finite number", lambda _: UNKNOWN),
    (
        re.compile(r"([+-]?[0-9]+),([0-9]{3})"),
        "has a decimal comma or a thousands comma; numbers have a point",
        lambda m: f"write {m[1]}.{m[2]}, or {m[1]}{m[2]} if the comma parts thousands",
    ),
    (
        re.compile(r"([+-]?[0-9]+),([0-9]+)"),
        "has a decimal comma; numbers have a point",
        lambda m: f"write {m[1]}.{m[2]}",
    ),
    (
        re.compile(r"[+-]?[0-9]{1,3}([,' _.\u2019\u00a0\u202f][0-9]{3})+([.,][0-9]+)?"),
        "has thousands separators",
        lambda _: "write the digits alone, with a point before decimals",
    ),
    (re.compile(r"[0-9]+ ?/ ?[0-9]+"), "is a fraction or a day, not a decimal", lambda _: WRITE_DECIMAL),
    (
        re.compile(r"[^.]*\.[^.]*\..*"),
        "has more than one point",
        lambda _: f"look at the paper; {WRITE_DECIMAL}",
    ),
    (
        re.compile(r"(-?[0-9]+(\.[0-9]+)?) ?%"),
        "has a percent sign; rates are fractions",
        lambda m: f"write {float(m[1]) / 100:.6g}",
    ),
    (
        re.compile(r"(-?[0-9]+(\.[0-9]+)?) ?([A-Za-z\"']{1,4})"),
        "has a unit in the cell",
        lambda m: f"write {m[1]}; the unit has its own place",
    ),
    (re.compile(r"\+([0-9]+(\.[0-9]+)?)"), "has a plus sign", lambda m: f"write {m[1]}"),
    (
        re.compile(r"(?s).*"),
        "is not a number",
        lambda _: f"write a number with a point, such as 12.4, or {UNKNOWN}",
    ),
)


def parse_number(text: str, *, least: float | None, above: bool) -> float:
    """Return a finite number, from `least` on (above it if `above`)."""
    if not NUMBER.fullmatch(text):
        raise _not_a_number(text)
    value = float(text)
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise CellError("is too large to be meant", f"write a number below {LARGEST:.0e}, or {UNKNOWN}")
    if least is not None and (value < least or (above and value == least)):
        wanted = f"above {least:g}" if above else f"{least:g} or more"
        raise CellError(
            f"is {'negative' if value < 0 else 'too small'}; wanted {wanted}", f"check the sign, or {UNKNOWN}"
        )
    return value


def parse_count(text: str, *, least: int) -> float:
    """Return a whole number, from `least` on."""
    if not WHOLE.fullmatch(text):
        if not NUMBER.fullmatch(text):
            raise _not_a_count(text)
        if "e" in text.lower():
            raise CellError(
                "is in powers of ten; wanted a whole number",
                f"write all its digits, such as {float(text):.0f}",
            )
        raise CellError("is not a whole number; this is a count", f"write a whole number, or {UNKNOWN}")
    value = float(text)
    if value > LARGEST_COUNT:
        raise CellError("is too large to be meant", f"write at most {LARGEST_COUNT}, or {UNKNOWN}")
    if value < least:
        rule = f"is {'negative' if value < 0 else 'too small'}; wanted {least} or more"
        raise CellError(rule, f"check the sign, or {UNKNOWN}")
    return value


def parse_length(text: str) -> str:
    """Return a length as typed: a plain decimal of at most five places, not negative."""
    if not PLAIN.fullmatch(text):
        if NUMBER.fullmatch(text):
            raise CellError(
                "is in powers of ten; a length is wanted as it was read", "write a decimal such as 12.4"
            )
        raise _not_a_number(text)
    if text.startswith("-"):
        raise CellError("is negative; a length is 0 or more", f"check the sign, or {UNKNOWN}")
    whole, _, decimals = text.partition(".")
    if len(decimals) > DECIMALS:
        raise CellError(
            f"has {len(decimals)} decimals; at most {DECIMALS} are wanted", f"write {text[: len(whole) + 6]}"
        )
    if len(whole) > 12 or float(text) > LONGEST_LENGTH:
        raise CellError("is too long to be a pin", f"write at most {LONGEST_LENGTH}, or {UNKNOWN}")
    return text


def _not_a_number(text: str) -> CellError:
    rule, found, meant = next(
        (rule, found, meant) for form, rule, meant in FORMS if (found := form.fullmatch(text))
    )
    return CellError(rule, meant(found))


def _not_a_count(text: str) -> CellError:
    """As of any number, but a whole one is asked for: nobody counts 12.4 landings."""
    said = _not_a_number(text)
    rule = said.rule.replace("not a decimal", "not a count")
    if WRITE_DECIMAL in said.suggestion:
        return CellError(rule, said.suggestion.replace(WRITE_DECIMAL, WRITE_WHOLE))
    return CellError(rule, said.suggestion.replace("a number with a point, such as 12.4", "a whole number"))
