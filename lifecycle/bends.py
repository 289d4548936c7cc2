"""Counters that did not grow in proportion to a run's landings: the bend of each goes through the filter as well."""

from dataclasses import dataclass

import numpy as np

from lifecycle.pathfilter import BLOCK, Floats, Readings


@dataclass(frozen=True)
class BendSums:
    """
    What the filter leaves of the bends, beside `pathfilter.PathSums`.

    Attributes
    ----------
    m1, mx : array of shape (n_bends, n_runs)
        Sums over readings of e1 eb and ex eb over f, eb the innovation of the bend.
    h : array of shape (n_bends, n_runs)
        Filtered bend after the last reading.
    gram : array of shape (n_bends, n_bends)
        Sum over readings and runs of eb eb' over f.
    score : array of shape (n_bends,)
        Sum over readings and runs of eb ew over f.
    """

    m1: Floats
    mx: Floats
    h: Floats
    gram: Floats
    score: Floats

    def rows(self, some: slice) -> "BendSums":
        """The same with only some of the runs in its arrays by run."""
        return BendSums(self.m1[:, some], self.mx[:, some], self.h[:, some], self.gram, self.score)


def filter_bends(readings: Readings, path_ratio: float) -> BendSums:
    """
    Run the bends of some counters through the filter of `pathfilter.filter_path`.

    Parameters
    ----------
    readings : Readings
        With bends.
    path_ratio : float
        Path variance per landing over measurement variance, 1 / landings.

    Returns
    -------
    BendSums
        Sums and state.

    Notes
    -----
    A counter C of a run is c x + b: c its average growth per landing, b its bend, 0 where it grows in proportion. The
    filter is linear, so each bend is one more series with the gains of the others.
    """
    count = readings.unknown.size
    first = range(0, max(count, 1), BLOCK)
    parts = [_run(readings.take(slice(one, one + BLOCK)), path_ratio) for one in first]
    return BendSums(
        m1=np.concatenate([part.m1 for part in parts], axis=1),
        mx=np.concatenate([part.mx for part in parts], axis=1),
        h=np.concatenate([part.h for part in parts], axis=1),
        gram=np.sum([part.gram for part in parts], axis=0),
        score=np.sum([part.score for part in parts], axis=0),
    )


def _run(readings: Readings, path_ratio: float) -> BendSums:
    bends, count = readings.bent.shape[0], readings.unknown.size
    p, h1, hx, hw = (np.zeros(count) for _ in range(4))
    m1, mx, h = (np.zeros((bends, count)) for _ in range(3))
    gram, score = np.zeros((bends, bends)), np.zeros(bends)
    for j in range(readings.valid.shape[0]):
        restart, noise = readings.restart[j], readings.noise[j]
        p = p + path_ratio * readings.step[j]
        precision = (readings.valid[j] & ~restart) / (p + noise)
        e1, ex, ew = readings.unknown - h1, readings.landings[j] - hx, readings.wear_mm[j] - hw
        eb = readings.bent[:, j] - h
        weighed = eb * precision
        m1, mx = m1 + e1 * weighed, mx + ex * weighed
        gram, score = gram + weighed @ eb.T, score + weighed @ ew
        gain = np.where(restart, 1.0, p * precision)
        h1, hx, hw, h = h1 + gain * e1, hx + gain * ex, hw + gain * ew, h + gain * eb
        p = np.where(restart, noise, p * (1.0 - gain))
    return BendSums(m1, mx, h, gram, score)
