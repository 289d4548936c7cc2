"""Length left, gap and wear used on one scale: length left, in exact nanometres."""

from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.days import FloatArray
from lifecycle.units import NM_PER_MM

LEFT: Final = "left"
GAP: Final = "gap"
USED: Final = "used"


def whole_nm(length_mm: FloatArray) -> FloatArray:
    """
    Millimetres as whole nanometres, NaN where not known.

    Parameters
    ----------
    length_mm : array of float, shape (n,)
        Length, millimetres, at most five decimals.

    Returns
    -------
    array of float, shape (n,)
        Whole numbers of nanometres, exact in a float.
    """
    return np.round(np.asarray(length_mm, dtype=float) * NM_PER_MM)


def left_offset_nm(
    convention: npt.NDArray[np.object_], new_pin_nm: FloatArray, new_gap_nm: FloatArray
) -> FloatArray:
    """
    What a value in its convention is added to, or taken from, to give the length left.

    Parameters
    ----------
    convention : array of str, shape (n,)
        ``left``, ``gap`` or ``used``.
    new_pin_nm, new_gap_nm : arrays of float, shape (n,)
        Pin length and gap of the brake type when new, nanometres, NaN where not known.

    Returns
    -------
    array of float, shape (n,)
        Offset in nanometres; NaN where the value cannot be turned into length left.

    Notes
    -----
    left = pin; left = new_pin - used; left = new_pin - (gap - new_gap). See `left_sign`.
    """
    offset = np.where(convention == USED, new_pin_nm, new_pin_nm + new_gap_nm)
    return np.where(convention == LEFT, 0.0, offset)


def left_sign(convention: npt.NDArray[np.object_]) -> FloatArray:
    """
    Whether a value in its convention is added to the offset or taken from it.

    Parameters
    ----------
    convention : array of str, shape (n,)
        ``left``, ``gap`` or ``used``.

    Returns
    -------
    array of float, shape (n,)
        1 for length left, -1 for the others: they grow as the brake wears.
    """
    return np.where(convention == LEFT, 1.0, -1.0)
