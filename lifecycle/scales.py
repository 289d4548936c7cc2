"""The one scale on which a run's readings and its limit are compared: length left, in exact nanometres."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.conventions import LEFT, left_offset_nm, left_sign, whole_nm
from lifecycle.days import FloatArray, IntArray
from lifecycle.observations import Records
from lifecycle.placed import Placed
from lifecycle.runs import Stays


@dataclass(frozen=True)
class Scale:
    """
    How lengths of each run become length left, arrays of shape (r,).

    Attributes
    ----------
    anchor : array of str
        "" where every convention is turned into length left; else the one convention that can be used: values
        are then measured against the limit, which lies at 0.
    offset_nm : array of float
        Of the anchored convention.
    new_pin_nm, new_gap_nm, limit_nm : arrays of float
        Nanometres, NaN where not known; the limit is on the scale of length left.
    """

    anchor: npt.NDArray[np.object_]
    offset_nm: FloatArray
    new_pin_nm: FloatArray
    new_gap_nm: FloatArray
    limit_nm: FloatArray


def scale_of(records: Records, stays: Stays, limits: pd.DataFrame, placed: Placed) -> Scale:
    """
    Scale of every run.

    Parameters
    ----------
    records : Records
        Needs brakes, brake_types and pin_readings.
    stays : Stays
        From `runs.lay_out`.
    limits : DataFrame, one row a run
        From `limits.limits_in_force`.
    placed : Placed
        Without any limit, the first reading of a run tells which convention it is read in.

    Returns
    -------
    Scale
        One entry a run.
    """
    types = records.brake_types.set_index("brake_type")[["new_pin_mm", "new_gap_mm"]]
    new = types.reindex(records.brakes["brake_type"]).to_numpy(dtype=float)[stays.brake[stays.first]]
    new_pin, new_gap = whole_nm(new[:, 0]), whole_nm(new[:, 1])
    spoken = np.where(
        limits["convention"] != "",
        limits["convention"].to_numpy(dtype=object),
        _first_read(records, stays, placed),
    )
    offset = left_offset_nm(spoken, new_pin, new_gap)
    anchor = np.where(np.isnan(offset), spoken, "")
    limit = limits["limit_nm"].to_numpy(dtype=float)
    return Scale(
        anchor=anchor,
        offset_nm=np.where(np.isnan(limit), 0.0, limit),
        new_pin_nm=new_pin,
        new_gap_nm=new_gap,
        limit_nm=np.where(anchor != "", 0.0 * limit, offset + left_sign(spoken) * limit),
    )


def _first_read(records: Records, stays: Stays, placed: Placed) -> npt.NDArray[np.object_]:
    convention = np.full(len(stays.first), LEFT, dtype=object)
    run = stays.run[placed.stay][::-1]
    convention[run] = records.pin_readings["convention"].to_numpy(dtype=object)[placed.row][::-1]
    return convention


def left_nm(
    scale: Scale, run: IntArray, convention: npt.NDArray[np.object_], pin_nm: FloatArray
) -> FloatArray:
    """
    Length left of pins read in any convention.

    Parameters
    ----------
    scale : Scale
        From `scale_of`.
    run : array of int64, shape (n,)
        Run of each reading.
    convention : array of str, shape (n,)
        ``left``, ``gap`` or ``used``.
    pin_nm : array of float, shape (n,)
        As read, whole nanometres, NaN for none.

    Returns
    -------
    array of float, shape (n,)
        Whole nanometres left; NaN where the reading cannot be compared with the others of its run.
    """
    absolute = left_offset_nm(convention, scale.new_pin_nm[run], scale.new_gap_nm[run])
    anchored = np.where(convention == scale.anchor[run], scale.offset_nm[run], np.nan)
    return np.where(scale.anchor[run] == "", absolute, anchored) + left_sign(convention) * pin_nm
