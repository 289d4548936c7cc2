"""How far the pins of one brake stand apart, whether that grows, and what to take off where only some were read."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import stdtrit

from lifecycle.conventions import left_sign
from lifecycle.days import BoolArray, FloatArray, IntArray
from lifecycle.units import NM_PER_MM, exact_nm

Names = npt.NDArray[np.object_]

# A pin's error counts as two further squared deviations at this much (common practice, no source).
BELIEVED_SD_MM: Final = 0.15
WEIGHT: Final = 2.0
# A reading whose pins stand so much otherwise than in those beside it has a slip in one: left out.
FAR_MM: Final = 1.0
FAR_STEPS: Final = 4.0  # of the resolution
# Growth is told where it is both surely there and large enough to matter (sizes: common practice, no source): a fleet
# has hundreds of runs, and at 1 in 100 each would send somebody to a few brakes for nothing.
SURE: Final = 0.001
LEAST_GROWTH_MM: Final = 0.5
LEVEL: Final = 0.9  # upper end of an 80 % interval


@dataclass(frozen=True)
class PinsApart:
    """
    Pins of all runs in which more than one was read, and what follows for the readings.

    Attributes
    ----------
    pins : DataFrame
        One row a run and pin: ``run`` (index), ``pin`` (1, 2, ... as in the files), ``readings`` (those with all pins
        of the run), ``governs`` (bool: shortest on average), ``offset_mm`` (length above the governing pin's, 0 for
        that), ``offset_low``, ``offset_high`` (80 %), ``growth`` (of the offset, mm per landing; NaN with fewer than
        three readings), ``growth_low``, ``growth_high`` (80 %), ``grown_mm`` (over the readings), ``uneven`` (bool:
        it stands further from the governing pin than it did, surely and by 0.5 mm or more).
    short_by_mm : array of shape (n_readings,)
        By how much the governing pin is shorter than the pins read, on average of the readings of the run with all of
        them; 0 where all were read, and where nothing is known.
    short_by_noise : array of shape (n_readings,)
        Variance of that average over the variance of one reading; 0 where nothing is taken off.
    """

    pins: pd.DataFrame
    short_by_mm: FloatArray
    short_by_noise: FloatArray


def lengths_by_pin(read: pd.DataFrame) -> FloatArray:
    """
    Lengths of the pins as typed, longer where more is left.

    Parameters
    ----------
    read : DataFrame of n rows
        ``pins`` (joined by semicolons, a pin not read is blank), ``unit``, ``convention``.

    Returns
    -------
    array of shape (n, n_pins)
        Millimetres, gap and wear used negated; NaN where not read. Only differences between pins mean anything.
    """
    texts = read["pins"].to_numpy(dtype=object) + " " + read["unit"].to_numpy(dtype=object)
    code, typed = pd.factorize(texts)
    parts = [str(text).rpartition(" ")[::2] for text in typed]
    table = np.full((len(parts), max((pins.count(";") for pins, _ in parts), default=0) + 1), np.nan)
    for row, (pins, unit) in enumerate(parts):
        for pin, length in enumerate(pins.split(";")):
            if length:
                table[row, pin] = exact_nm(length, unit) / NM_PER_MM
    return np.asarray(table[code] * left_sign(read["convention"].to_numpy(dtype=object))[:, None])


def pins_apart(
    lengths: FloatArray, readings: pd.DataFrame, kinds: Names, new_mm: FloatArray | None = None
) -> PinsApart:
    """
    Offsets between the pins of each run.

    Parameters
    ----------
    lengths : array of shape (n_readings, n_pins)
        From `lengths_by_pin`.
    readings : DataFrame of n_readings rows
        ``run``, ``landings``, ``usable``, ``resolution_mm``, ``left_mm``, as in `exposure.Runs.readings`.
    kinds : array of str, shape (n_runs,)
        Brake type of each run; the error of a pin is common to the runs of a type.
    new_mm : array of shape (n_runs,), optional
        Length of a new pin on the scale of ``left_mm``, NaN where not known.

    Returns
    -------
    PinsApart
        See there.

    Notes
    -----
    Length j of pin k is m_j + o_k + c_k (x_j - mean x) + e_jk with e ~ N(0, s^2) and m_j free, so that what the brake
    wore between readings drops out. With all pins read the least squares are those of the differences d_jk from the
    mean of the reading: o_k their mean, c_k their slope on landings. s^2 is pooled over the runs of a type, with
    (n - 2)(p - 1) degrees of freedom from n readings of p pins, and two more at `BELIEVED_SD_MM`; two pins differ with
    variance 2 s^2 / n in their offsets and 2 s^2 / Sxx in their slopes. Readings with some of the pins tell nothing,
    nor do those whose longest pin stands at its new length where it came below that in another reading of the run: no
    pin is written down as longer than new, so that the offset there is cut off and seems to grow afterwards. A pin that
    never left its new length while the other wore does count.

    References
    ----------
    H. Scheffe, The Analysis of Variance, 1959, section 4.2 (two-way layout).
    """
    run, seen = readings["run"].to_numpy(np.int64), np.isfinite(lengths)
    landings, step = readings["landings"].to_numpy(float), readings["resolution_mm"].to_numpy(float)
    ever = np.zeros((len(kinds), lengths.shape[1]), dtype=np.bool_)
    for pin in range(lengths.shape[1]):
        ever[run[seen[:, pin]], pin] = True
    ever &= ever.sum(axis=1, keepdims=True) > 1
    missing = (ever[run] & ~seen).any(axis=1)
    chosen = np.flatnonzero(ever[run].any(axis=1) & ~missing & readings["usable"].to_numpy(bool))
    chosen = chosen[np.lexsort((landings[chosen], run[chosen]))]
    if new_mm is not None:
        longest = readings["left_mm"].to_numpy(float)[chosen] + np.ptp(_from_mean(lengths[chosen]), axis=1)
        chosen = chosen[~_cut_off(run[chosen], longest >= new_mm[run[chosen]] - step[chosen] / 2)]
    slips = _slips(run[chosen], _from_mean(lengths[chosen]), np.maximum(FAR_MM, FAR_STEPS * step[chosen]))
    chosen = chosen[~slips]
    whole = _Whole(run[chosen], landings[chosen], lengths[chosen], ever)
    short_by, partial = np.zeros(len(run)), np.flatnonzero(missing & seen.any(axis=1))
    short_by[partial] = _short_by(whole, run[partial], seen[partial])
    noise = np.where(short_by > 0, 2.0 / np.maximum(whole.number, 1.0)[run], 0.0)
    return PinsApart(_pins(whole, kinds, float(np.median(step)) if step.size else 0.0), short_by, noise)


def less_unread(readings: pd.DataFrame, apart: PinsApart) -> pd.DataFrame:
    """
    Readings told as those of the governing pin, where it was not read.

    Parameters
    ----------
    readings : DataFrame of n rows
        ``left_mm``, ``wear_mm``.
    apart : PinsApart
        From `pins_apart`.

    Returns
    -------
    DataFrame
        With ``short_by_mm`` taken off the length left, and ``short_by_noise``. ``at_or_below`` stays as measured.
    """
    return readings.assign(
        left_mm=readings["left_mm"] - apart.short_by_mm,
        wear_mm=readings["wear_mm"] + apart.short_by_mm,
        short_by_mm=apart.short_by_mm,
        short_by_noise=apart.short_by_noise,
    )


def as_read(readings: pd.DataFrame) -> pd.Series:
    """
    Length left of the shortest pin that was read.

    Parameters
    ----------
    readings : DataFrame of n rows
        Rows of `exposure.Runs.readings`.

    Returns
    -------
    Series of n floats
        Millimetres, as measured.
    """
    return readings["left_mm"] + readings.get("short_by_mm", 0.0)


def _from_mean(lengths: FloatArray) -> FloatArray:
    """Each pin's length above the mean of its reading; 0 for pins that the run does not have."""
    read = np.maximum(np.isfinite(lengths).sum(axis=1, keepdims=True), 1)
    return np.asarray(np.nan_to_num(lengths - np.nansum(lengths, axis=1, keepdims=True) / read))


def _cut_off(run: IntArray, at_new: BoolArray) -> BoolArray:
    """Readings with a pin at its new length, in runs where the longest pin was read below that too."""
    below = np.zeros(int(run.max(initial=-1)) + 1, dtype=np.bool_)
    below[run[~at_new]] = True
    return np.asarray(at_new & below[run])


def _slips(run: IntArray, apart: FloatArray, far: FloatArray) -> BoolArray:
    """Readings that differ from both neighbours in their run; at its ends, from one that agrees with the next."""
    if len(run) < 3:
        return np.zeros(len(run), dtype=np.bool_)
    same = np.diff(run) == 0
    jump = same & (np.abs(np.diff(apart, axis=0)).max(axis=1) > far[1:])
    calm, no = same & ~jump, [False]
    before, after = np.append(no, jump), np.append(jump, no)
    first, last = np.append(True, ~same), np.append(~same, True)
    calm_after, calm_before = np.concatenate([calm[1:], no, no]), np.concatenate([no, no, calm[:-1]])
    return np.asarray((before & after) | (first & after & calm_after) | (last & before & calm_before))


@dataclass(frozen=True)
class _Whole:
    """Readings with all pins of their runs, by run and landings; ``ever`` says which pins each run has."""

    run: IntArray
    landings: FloatArray
    lengths: FloatArray
    ever: BoolArray

    def summed(self, values: FloatArray) -> FloatArray:
        """Sums by run, (n_runs, n_columns), of (n_readings, n_columns)."""
        count = len(self.ever)
        return np.column_stack([np.bincount(self.run, weights=each, minlength=count) for each in values.T])

    @property
    def number(self) -> FloatArray:
        """Readings of each run."""
        return np.bincount(self.run, minlength=len(self.ever)).astype(np.float64)


def _short_by(whole: _Whole, run: IntArray, seen: BoolArray) -> FloatArray:
    """Mean over the whole readings of each run of how far all pins reach below those seen, (n_partial,)."""
    found = np.zeros(run.size)
    lowest = np.fmin.reduce(whole.lengths, axis=1)
    for some in np.unique(seen, axis=0):
        mine = (seen == some).all(axis=1)
        below = np.nan_to_num(np.fmin.reduce(whole.lengths[:, some], axis=1) - lowest)
        found[mine] = (whole.summed(below[:, None])[:, 0] / np.maximum(whole.number, 1.0))[run[mine]]
    return found


def _pins(whole: _Whole, kinds: Names, step_mm: float) -> pd.DataFrame:
    """Rows of `PinsApart.pins`."""
    number, apart, run = whole.number, _from_mean(whole.lengths), whole.run
    n = np.maximum(number, 1.0)[:, None]
    offset = whole.summed(apart) / n
    x = whole.landings - (whole.summed(whole.landings[:, None]) / n)[run, 0]
    sxx = whole.summed((x * x)[:, None])[:, 0]
    sloped = (number >= 3) & (sxx > 0)
    over = np.divide(1.0, sxx, out=np.full(len(kinds), np.nan), where=sloped)
    slope = whole.summed(x[:, None] * apart) * over[:, None]
    left = np.nan_to_num(apart - offset[run] - x[:, None] * slope[run])
    degrees = np.where(sloped, (number - 2) * (whole.ever.sum(axis=1) - 1), 0.0)
    square = np.where(sloped, whole.summed(left * left).sum(axis=1), 0.0)
    variance, dof = _pooled(square, degrees, kinds, step_mm)
    ends = [np.zeros(len(kinds)), np.zeros(len(kinds))]
    np.minimum.at(ends[0], run, x)
    np.maximum.at(ends[1], run, x)
    row, pin = np.nonzero(whole.ever & (number > 0)[:, None])
    governing = np.where(whole.ever, offset, np.inf).argmin(axis=1)[row]
    above, growth = offset[row, pin] - offset[row, governing], slope[row, pin] - slope[row, governing]
    other = pin != governing
    sd, growth_sd = (np.sqrt(2 * variance[row] * each) * other for each in (1 / n[row, 0], over[row]))
    score = stdtrit(dof[row], LEVEL)
    first, last = (above + end[row] * growth for end in ends)
    # The chance is that of the run: its pins share it.
    sure = stdtrit(dof[row], 1 - SURE / 2 / np.maximum(whole.ever.sum(axis=1)[row] - 1, 1))
    grown = np.abs(last) - np.abs(first)
    return pd.DataFrame(
        {
            "run": row,
            "pin": pin + 1,
            "readings": number[row].astype(np.int64),
            "governs": ~other,
            "offset_mm": above,
            "offset_low": above - score * sd,
            "offset_high": above + score * sd,
            "growth": growth,
            "growth_low": growth - score * growth_sd,
            "growth_high": growth + score * growth_sd,
            "grown_mm": last - first,
            "uneven": other & (np.abs(growth) > sure * growth_sd) & (grown >= LEAST_GROWTH_MM),
        }
    )


def _pooled(
    square: FloatArray, degrees: FloatArray, kinds: Names, step_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Variance of a pin's error and its degrees of freedom, by run, from sums of squares over the runs of a type."""
    code, names = pd.factorize(kinds)
    squares = np.bincount(code, weights=square, minlength=len(names)) + WEIGHT * BELIEVED_SD_MM**2
    dof = np.bincount(code, weights=degrees, minlength=len(names)) + WEIGHT
    return np.asarray(np.maximum(squares / dof, step_mm**2 / 12)[code]), np.asarray(
        dof[code], dtype=np.float64
    )
