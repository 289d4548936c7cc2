"""Words of the command line as they are typed: each read, or refused with what is wanted."""

import argparse
import datetime as dt


def address(text: str) -> str:
    """A plain file name is a SQLite file."""
    return text if "://" in text else f"sqlite:///{text}"


def day(text: str) -> dt.date:
    """A day as year-month-day."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day; wanted like 2026-03-14") from None


def share(text: str) -> float:
    """A chance that is neither sure nor nothing."""
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0.001 <= value <= 0.999:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a chance; wanted a fraction from 0.001 to 0.999, like 0.1"
        )
    return value


def small_chance(text: str) -> float:
    """A small chance."""
    value = share(text)
    if value > 0.5:
        raise argparse.ArgumentTypeError(f"{text!r} is no small chance; wanted at most 0.5, like 0.05")
    return value


def above_zero(text: str) -> float:
    """A number above 0."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.0 < value < float("inf"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above 0")
    return value


def count(text: str) -> int:
    """A whole number from 1."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a count; wanted a whole number from 1")
    return int(text)


def separator(text: str) -> str:
    """A separator by its name or as the sign itself."""
    signs = {",": "comma", ";": "semicolon", "\t": "tab", "|": "stroke"}
    name = signs.get(text, text)
    if name not in signs.values():
        raise argparse.ArgumentTypeError(f"{text!r} is no separator; wanted comma, semicolon, tab or stroke")
    return name
