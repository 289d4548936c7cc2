"""Scalar Kalman filter of the wear path, one loop over the reading index, vectorised over heat sink runs."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lifecycle.errors import BadRecordsError

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

# Runs handled at a time: few enough that their arrays stay in the processor's cache, which halves the time.
BLOCK: Final = 4096


@dataclass(frozen=True)
class Readings:
    """
    Readings of many runs, reading index first, ready for the filter.

    Attributes
    ----------
    landings, wear_mm, noise : array of shape (n_readings, n_runs)
        Braked landings, wear, and measurement variance in units of one reading's (1 over the readings averaged).
    step : array of shape (n_readings, n_runs)
        Landings since the run's previous reading (since its start for the first).
    valid, restart : array of bool, shape (n_readings, n_runs)
        A reading stands here; the level of wear is unknown from here on (the reading only sets it).
    unknown : array of shape (n_runs,)
        1 where the pin length at the start of the run is unknown, else 0.
    bent : array of shape (n_bends, n_readings, n_runs)
        Counters less their average growth per landing times landings (`lifecycle.bends`); empty where none bends.
    bent_columns : tuple of int
        Column of the design that each belongs to.
    """

    landings: Floats
    wear_mm: Floats
    noise: Floats
    step: Floats
    valid: Bools
    restart: Bools
    unknown: Floats
    bent: Floats = field(default_factory=lambda: np.zeros((0, 0, 0)))
    bent_columns: tuple[int, ...] = ()

    def take(self, runs: npt.NDArray[np.int64] | slice) -> "Readings":
        """Only these runs."""
        return Readings(
            landings=self.landings[:, runs],
            wear_mm=self.wear_mm[:, runs],
            noise=self.noise[:, runs],
            step=self.step[:, runs],
            valid=self.valid[:, runs],
            restart=self.restart[:, runs],
            unknown=self.unknown[runs],
            bent=self.bent[:, :, runs] if self.bent_columns else self.bent,
            bent_columns=self.bent_columns,
        )

    def straight(self, rate: Floats) -> "Readings":
        """The same with the bends at these coefficients of the design (n_columns,) taken off the wear."""
        if not self.bent_columns:
            return self
        bend = np.tensordot(rate[list(self.bent_columns)], self.bent, axes=1)
        return replace(
            self, wear_mm=self.wear_mm - self.valid * bend, bent=np.zeros((0, 0, 0)), bent_columns=()
        )

    def bent_by(self, kept: Bools) -> "Readings":
        """Bends of the columns kept (n_columns,), numbered among those."""
        some = [number for number, column in enumerate(self.bent_columns) if kept[column]]
        columns = tuple(int(np.count_nonzero(kept[: self.bent_columns[number]])) for number in some)
        return replace(self, bent=self.bent[some], bent_columns=columns) if self.bent_columns else self

    def without(self, out: Bools) -> "Readings":
        """The same less some readings; out has shape (n_readings, n_runs)."""
        valid = self.valid & ~out
        reached = _reached(self.landings, valid)
        step = np.diff(reached, axis=0, prepend=0.0)
        return replace(self, valid=valid, landings=reached, step=step, restart=self.restart & valid)

    @property
    def degrees(self) -> int:
        """Readings that tell something: those that do not merely set a level anew."""
        return int(np.count_nonzero(self.valid & ~self.restart))


@dataclass(frozen=True)
class PathSums:
    """
    What the filter leaves of each run: weighted sums of innovations and the state after the last reading.

    Attributes
    ----------
    s11, s1x, sxx, t1, tx, q, logf : array of shape (n_runs,) or scalar 0 where no run has an unknown start
        Sums over readings of e1 e1, e1 ex, ex ex, e1 ew, ex ew, ew ew (each over f) and of log f, where e1, ex and ew
        are the innovations of a constant, of landings and of wear.
    h1, hx, hw, p : array of shape (n_runs,)
        Filtered constant, landings and wear after the last reading; path variance in units of the measurement's.
    """

    s11: Floats
    s1x: Floats
    sxx: Floats
    t1: Floats
    tx: Floats
    q: Floats
    logf: Floats
    h1: Floats
    hx: Floats
    hw: Floats
    p: Floats

    def rows(self, some: slice) -> "PathSums":
        """Of some of the runs."""
        parts = (getattr(self, field.name) for field in fields(self))
        return PathSums(*(part[some] if part.ndim else part for part in parts))


@dataclass(frozen=True)
class Steps:
    """Innovations of a constant, landings and wear at each reading and their variance f: (n_readings, n_runs)."""

    e1: Floats
    ex: Floats
    ew: Floats
    f: Floats


def arrange(
    landings: npt.ArrayLike,
    wear_mm: npt.ArrayLike,
    *,
    known_start: npt.ArrayLike = True,
    copies: npt.ArrayLike = 1.0,
    restart: npt.ArrayLike = False,
) -> Readings:
    """
    Lay readings out for the filter and check them.

    Parameters
    ----------
    landings : array of shape (n_runs, n_readings)
        Braked landings of the run at each reading, never falling along a run; NaN where there is no reading.
    wear_mm : array of shape (n_runs, n_readings)
        Wear, millimetres; NaN where there is no reading.
    known_start : bool or array of shape (n_runs,)
        The wear at zero landings is known to be zero.
    copies : float or array of shape (n_runs, n_readings)
        Readings of one pin averaged into each value; the measurement variance is divided by it.
    restart : bool or array of shape (n_runs, n_readings)
        The level of wear is unknown from this reading on (after an excluded span, an uncertain re-shim).

    Returns
    -------
    Readings
        Transposed, with the gaps filled.

    Raises
    ------
    BadRecordsError
        If the shapes differ, landings are negative or fall, or copies are not positive.
    """
    x = np.atleast_2d(np.asarray(landings, dtype=np.float64)).T
    w = np.atleast_2d(np.asarray(wear_mm, dtype=np.float64)).T
    if x.shape != w.shape:
        raise BadRecordsError(f"landings have shape {x.T.shape}, wear {w.T.shape}; the same is wanted")
    valid = np.isfinite(x) & np.isfinite(w)
    k = np.broadcast_to(np.asarray(copies, dtype=np.float64), x.T.shape).T
    if not np.all(k[valid] > 0):
        raise BadRecordsError(f"copies of a reading are {np.min(k[valid])}; more than 0 is wanted")
    reached = _reached(x, valid)
    before = np.vstack([np.zeros((1, x.shape[1])), reached[:-1]]) if x.size else reached
    falls = valid & (x < before)
    if falls.any():
        reading, run = (int(found[0]) for found in np.nonzero(falls))
        raise BadRecordsError(
            f"run {run}: landings fall to {x[reading, run]:g} after {before[reading, run]:g}; "
            "landings that never fall, from 0 up, are wanted"
        )
    again = np.broadcast_to(np.asarray(restart, dtype=np.bool_), x.T.shape).T & valid
    unknown = np.broadcast_to(~np.asarray(known_start, dtype=np.bool_), x.shape[1:])
    return Readings(
        landings=reached,
        wear_mm=np.ascontiguousarray(np.where(valid, w, 0.0)),
        noise=np.ascontiguousarray(1.0 / np.where(valid, k, 1.0)),
        step=np.diff(reached, axis=0, prepend=0.0),
        valid=valid,
        restart=again,
        unknown=unknown.astype(np.float64),
    )


def _reached(landings: Floats, valid: Bools) -> Floats:
    """Landings at the latest valid reading so far, 0 before the first."""
    return np.maximum.accumulate(np.where(valid, landings, 0.0), axis=0)


def filter_path(readings: Readings, path_ratio: float) -> PathSums:
    """
    Run the filter over all runs.

    Parameters
    ----------
    readings : Readings
        From `arrange`.
    path_ratio : float
        Path variance per landing over measurement variance, 1 / landings.

    Returns
    -------
    PathSums
        Sums and state of each run.

    Notes
    -----
    With P = 0 at the start, at each reading P += ratio dx, f = P + 1/k, K = P/f; each series (constant, landings,
    wear) has innovation e and is moved by K e; then P *= 1 - K. A restart sets K = 1 and adds nothing to the sums.
    """
    fixed = not readings.unknown.any()  # the series of the constant is then zero throughout: keep it a scalar
    if readings.unknown.size <= BLOCK:
        return _run_filter(readings, path_ratio, fixed=fixed)
    first = range(0, readings.unknown.size, BLOCK)
    parts = [_run_filter(readings.take(slice(one, one + BLOCK)), path_ratio, fixed=fixed) for one in first]
    return PathSums(*(_joined([getattr(part, field.name) for part in parts]) for field in fields(PathSums)))


def _joined(parts: list[Floats]) -> Floats:
    return np.concatenate(parts) if parts[0].ndim else parts[0]


def filter_steps(readings: Readings, path_ratio: float) -> Steps:
    """
    Innovations of the filter at every reading; parameters as in `filter_path`.

    Returns
    -------
    Steps
        Where there is no reading, or only a restart, f is infinite and the innovations mean nothing.
    """
    steps = np.empty((4, *readings.valid.shape))
    _run_filter(readings, path_ratio, fixed=not readings.unknown.any(), keep=steps)
    steps[3, ~readings.valid | readings.restart] = np.inf
    return Steps(*steps)


def _run_filter(
    readings: Readings, path_ratio: float, *, fixed: bool, keep: Floats | None = None
) -> PathSums:
    """The recursion holds for arrays and for plain numbers; a single run goes through in those, 20 times faster."""
    count = readings.unknown.size
    single = count == 1
    p = hx = hw = sxx = tx = q = logf = 0.0 if single else np.zeros(count)
    h1 = s11 = s1x = t1 = 0.0 if single or fixed else np.zeros(count)
    one = 0.0 if fixed else readings.unknown[0] if single else readings.unknown
    log = math.log if single else np.log
    for j, (x, w, noise, step, valid, restart) in enumerate(_rows(readings, single=single)):
        p = p + path_ratio * step
        f = p + noise
        counted = valid * (1.0 - restart)
        precision = counted / f
        e1, ex, ew = one - h1, x - hx, w - hw
        gx = ex * precision
        sxx, tx, q = sxx + ex * gx, tx + ew * gx, q + ew * ew * precision
        logf = logf + counted * log(f)
        if not fixed:
            g1 = e1 * precision
            s11, s1x, t1 = s11 + e1 * g1, s1x + ex * g1, t1 + ew * g1
        gain = restart + p * precision  # 1 at a restart, which has no precision
        h1, hx, hw = h1 + gain * e1, hx + gain * ex, hw + gain * ew
        p = p * (1.0 - gain) + restart * noise
        if keep is not None:
            keep[0, j], keep[1, j], keep[2, j], keep[3, j] = e1, ex, ew, f
    of_start, every = (() if fixed else (count,)), (count,)
    return PathSums(
        s11=_sized(s11, of_start),
        s1x=_sized(s1x, of_start),
        sxx=_sized(sxx, every),
        t1=_sized(t1, of_start),
        tx=_sized(tx, every),
        q=_sized(q, every),
        logf=_sized(logf, every),
        h1=_sized(h1, of_start),
        hx=_sized(hx, every),
        hw=_sized(hw, every),
        p=_sized(p, every),
    )


def _rows(readings: Readings, *, single: bool) -> Iterator[Sequence[Any]]:
    """Landings, wear, noise, step, valid and restart of each reading: arrays over the runs, or numbers of the one."""
    parts = (
        readings.landings,
        readings.wear_mm,
        readings.noise,
        readings.step,
        readings.valid,
        readings.restart,
    )
    return zip(*(part[:, 0].tolist() if single else part for part in parts), strict=True)


def _sized(part: npt.ArrayLike, shape: tuple[int, ...]) -> Floats:
    return part if isinstance(part, np.ndarray) else np.full(shape, part, dtype=np.float64)
