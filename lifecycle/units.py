"""Lengths as typed and as counted: exact whole nanometres, so that limits compare without rounding; names of pins."""

from decimal import Decimal, InvalidOperation
from string import ascii_uppercase
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.errors import BadRecordsError

NM_PER_UNIT: Final = {"mm": 1_000_000, "in": 25_400_000}
DECIMALS: Final = 5
NM_PER_MM: Final = 1_000_000


def exact_nm(typed: str, unit: str) -> int:
    """
    Length typed in millimetres or inches as a whole number of nanometres.

    Parameters
    ----------
    typed : str
        A decimal number with a point, at most five decimals, such as ``12.4`` or ``0.488``.
    unit : str
        ``mm`` or ``in`` (one inch is exactly 25.4 mm).

    Returns
    -------
    int
        Nanometres; exact, since five decimals of an inch are 254 nm.

    Raises
    ------
    BadRecordsError
        If the text is not a finite decimal number, has more than five decimals, or the unit is unknown.
    """
    if unit not in NM_PER_UNIT:
        raise BadRecordsError(f"unit {unit!r} is not known; wanted mm or in")
    try:
        value = Decimal(typed)
    except InvalidOperation:
        raise BadRecordsError(f"{typed!r} is not a number; wanted a decimal such as 12.4") from None
    exponent = value.as_tuple().exponent
    if not isinstance(exponent, int):
        raise BadRecordsError(f"{typed!r} is not a finite number; wanted a decimal such as 12.4")
    if -exponent > DECIMALS:
        raise BadRecordsError(f"{typed!r} has {-exponent} decimals; at most {DECIMALS} are wanted")
    return int(value * NM_PER_UNIT[unit])


def mm(length_nm: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
    """
    Nanometres as millimetres.

    Parameters
    ----------
    length_nm : array of int64, any shape
        Length, nanometres.

    Returns
    -------
    array of float64, same shape
        Length, millimetres.
    """
    return length_nm / NM_PER_MM


def pin_letter(number: int) -> str:
    """
    What a pin is called on sheets, on pages and in words; files and results keep its number.

    Parameters
    ----------
    number : int
        Place of the pin on its brake, counted from 1.

    Returns
    -------
    str
        A to Z; the number itself past the alphabet.
    """
    return ascii_uppercase[number - 1] if 1 <= number <= len(ascii_uppercase) else str(number)
