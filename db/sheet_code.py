"""
Short codes of sheets: four characters and a check character, to be read from paper and typed.

The symbols leave out 0, 1, I, L and O, which look like one another. The five places weigh 5, 4, 3, 2 and 1 and the
sum is 0 modulo 31: as 31 is prime and the weights differ, every single wrong character and every swap of two is found.
"""

import secrets
from typing import Final

from db.errors import LedgerError

SYMBOLS: Final = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
LENGTH: Final = 5
WEIGHTS: Final = (5, 4, 3, 2, 1)
SPACING: Final = str.maketrans("", "", " -\t\N{NO-BREAK SPACE}")


class SheetCodeError(LedgerError):
    """What was typed cannot be the code of any sheet."""


def with_check(symbols: str) -> str:
    """Four symbols with their check character behind them."""
    values = [SYMBOLS.index(symbol) for symbol in symbols]
    told = sum(weight * value for weight, value in zip(WEIGHTS, values, strict=False))
    return symbols + SYMBOLS[-told % len(SYMBOLS)]


def new_code() -> str:
    """Any code, by the system's generator."""
    return with_check("".join(secrets.choice(SYMBOLS) for _ in range(LENGTH - 1)))


def code_typed(text: str) -> str:
    """
    Return the code that was typed, in capitals and without spaces and dashes.

    Raises SheetCodeError where it is not five of the symbols, or where the check character does not fit the others.
    """
    code = text.translate(SPACING).upper()
    if not code:
        raise SheetCodeError(
            f"no code was typed; type the {LENGTH} characters that stand at the head of the sheet"
        )
    if len(code) != LENGTH:
        raise SheetCodeError(
            f"{text!r} has {len(code)} characters; the code of a sheet has {LENGTH}, read it from the sheet again"
        )
    strange = [symbol for symbol in code if symbol not in SYMBOLS]
    if strange:
        raise SheetCodeError(
            f"{text!r} has {strange[0]!r}, which no code has (0, 1, I, L and O are left out); "
            "read it from the sheet again"
        )
    if with_check(code[:-1]) != code:
        raise SheetCodeError(
            f"the check character of {text!r} does not fit; one character is wrong or two are swapped, "
            "read it from the sheet again"
        )
    return code
