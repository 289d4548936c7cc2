"""The restricted likelihood of the wear model, given the filter's sums, and its slope in the random effects."""

from dataclasses import dataclass, replace
from typing import cast

import numpy as np
import numpy.typing as npt

from lifecycle.bends import BendSums
from lifecycle.pathfilter import BLOCK, Floats, PathSums
from lifecycle.wear_prior import NO_PRIOR, WearPrior


@dataclass(frozen=True)
class Spread:
    """Covariance of the random start and rate of a run, over the measurement variance."""

    start: float
    both: float
    rate: float


@dataclass(frozen=True)
class Design:
    """
    What the mean start and rate depend on.

    Attributes
    ----------
    kinds : array of shape (n_kinds, n_columns)
        Covariates of the rate, each combination once: runs by the thousand share a base and a position group.
    kind : array of int, shape (n_runs,)
        Which of them each run has.
    unknown : array of shape (n_runs,)
        1 where the start is unknown.
    has_start : bool
        A mean start is estimated: its coefficient stands before those of the rate.
    degrees : int
        Readings that tell something.
    sigma2_floor : float
        Least measurement variance, mm^2.
    bent : tuple of int
        Columns of the rate that bend, in the order of the bends.
    """

    kinds: Floats
    kind: npt.NDArray[np.int64]
    unknown: Floats
    has_start: bool
    degrees: int
    sigma2_floor: float
    bent: tuple[int, ...] = ()

    @property
    def bent_places(self) -> list[int]:
        """Where the coefficients of the bends stand among all."""
        return [column + self.has_start for column in self.bent]


@dataclass(frozen=True)
class Profile:
    """The criterion at given variance ratios, with all else at its best; slope[a, b] is d value / d spread[a, b]."""

    value: float
    slope: Floats
    coefficients: Floats
    information: Floats
    sigma2: float


@dataclass(frozen=True)
class _Block:
    """Some of the runs: few enough that their arrays stay in the processor's cache, which halves the time."""

    sums: PathSums
    kind: npt.NDArray[np.int64]
    unknown: Floats
    bends: BendSums | None


def kinds_of(rows: Floats) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Each different row once, and which of them each row is."""
    # One number a row tells rows apart much faster than sorting them whole; should two ever collide, sort them whole.
    mark = rows @ np.cos(1.0 + np.arange(rows.shape[1]))
    _, first, kind = np.unique(mark, return_index=True, return_inverse=True)
    if not np.array_equal(rows[first][kind], rows):
        kinds, kind = np.unique(rows, axis=0, return_inverse=True)
        return kinds, kind.astype(np.int64)
    return rows[first], kind.astype(np.int64)


def _blocks(sums: PathSums, design: Design, bends: BendSums | None) -> list[_Block]:
    rows = [slice(first, first + BLOCK) for first in range(0, max(design.unknown.size, 1), BLOCK)]
    return [
        _Block(sums.rows(some), design.kind[some], design.unknown[some], bends.rows(some) if bends else None)
        for some in rows
    ]


@dataclass(frozen=True)
class _Whitened:
    """W = (A^-1 + spread)^-1 of each run, and the sum of log|I + A spread|."""

    w11: Floats
    w12: Floats
    w22: Floats
    logdet: float


def _whiten(sums: PathSums, spread: Spread) -> _Whitened:
    det, d = _determinants(sums, spread)
    return _Whitened(
        w11=(sums.s11 + det * spread.rate) / d,
        w12=(sums.s1x - det * spread.both) / d,
        w22=(sums.sxx + det * spread.start) / d,
        logdet=float(np.sum(np.log(d))),
    )


def _determinants(sums: PathSums, spread: Spread) -> tuple[Floats, Floats]:
    """|A| and |I + A spread| of each run; the latter from the former, since its own products cancel."""
    det = sums.s11 * sums.sxx - sums.s1x**2
    trace = sums.s11 * spread.start + 2 * sums.s1x * spread.both + sums.sxx * spread.rate
    return det, 1.0 + trace + det * (spread.start * spread.rate - spread.both**2)


def solve_run(sums: PathSums, spread: Spread, r1: Floats, rx: Floats) -> tuple[Floats, Floats]:
    """
    (I + A spread)^-1 r of each run, A the 2 x 2 information of its start and rate.

    Parameters
    ----------
    sums : PathSums
        Of n_runs runs.
    spread : Spread
        Relative covariance of start and rate.
    r1, rx : array of shape (n_runs,)
        Score of the start and of the rate.

    Returns
    -------
    tuple of two arrays of shape (n_runs,)
        The two elements of the solution.
    """
    m11 = 1.0 + sums.s11 * spread.start + sums.s1x * spread.both
    m12 = sums.s11 * spread.both + sums.s1x * spread.rate
    m21 = sums.s1x * spread.start + sums.sxx * spread.both
    m22 = 1.0 + sums.s1x * spread.both + sums.sxx * spread.rate
    _, d = _determinants(sums, spread)
    return (m22 * r1 - m12 * rx) / d, (m11 * rx - m21 * r1) / d


def means(design: Design, coefficients: Floats) -> tuple[Floats, Floats]:
    """Mean start and mean rate of each run, two arrays of shape (n_runs,)."""
    if design.has_start:
        return design.unknown * coefficients[0], (design.kinds @ coefficients[1:])[design.kind]
    return np.zeros(()), (design.kinds @ coefficients)[design.kind]


def profile(  # noqa: PLR0913 (the sums, the mean, the variances, and what is believed)
    sums: PathSums,
    design: Design,
    spread: Spread,
    *,
    path_ratio: float = 0.0,
    prior: WearPrior = NO_PRIOR,
    bends: BendSums | None = None,
    restricted: bool = True,
) -> Profile:
    """
    The restricted likelihood at given variance ratios.

    Parameters
    ----------
    sums : PathSums
        The filter's sums at `path_ratio`.
    design : Design
        Covariates and the least measurement variance.
    spread : Spread
        Covariance of start and rate over the measurement variance.
    path_ratio : float
        Path variance per landing over measurement variance; read by the prior only.
    prior : WearPrior
        Weak beliefs; `NO_PRIOR` is plain REML.
    bends : BendSums, optional
        Of the columns of the design that bend.
    restricted : bool
        False for the full likelihood, by which means with and without a column may be compared.

    Returns
    -------
    Profile
        Value is -2 log REML (plus the prior's -2 log density, up to a constant).

    Notes
    -----
    With y = Z b + noise whitened by the filter, A = Z'Z, t = Z'y and b ~ N(X beta, spread), the marginal
    information is X'WX, W = (A^-1 + spread)^-1, and
    -2 log REML = (N - p)(log sigma^2 + log 2 pi) + RSS / sigma^2 + sum log f + sum log|I + A spread| + log|X'WX|,
    sigma^2 = RSS / (N - p), held up by the floor. The full likelihood lacks log|X'WX| and has N for N - p. A column
    that bends adds M = Z'd and d'd to the whitened products, d its bend; see `_levers`.

    References
    ----------
    D. Bates, M. Maechler, B. Bolker, S. Walker, J. Stat. Softw. 67(1), 2015, section 3.
    """
    blocks = _blocks(sums, design, bends)
    whites = [_whiten(block.sums, spread) for block in blocks]
    told = _moments(design, blocks, whites, spread)
    told = _with_bends(told, design, blocks, bends, spread) if bends else told
    columns = design.kinds.shape[1]
    information = told.information + np.diag(prior.precision(columns, design.has_start))
    score = told.score + prior.pull(columns, design.has_start)
    covariance = np.linalg.inv(information).astype(np.float64)
    beta = covariance @ score
    rss = max(prior.rss + float(np.sum(sums.q)) - told.explained - float(beta @ score), 0.0)
    degrees = max(design.degrees - beta.size * restricted + prior.degrees, 1)
    sigma2 = max(rss / degrees, design.sigma2_floor)
    logdet = float(np.sum(sums.logf)) + told.logdet + restricted * float(np.linalg.slogdet(information)[1])
    value = degrees * float(np.log(sigma2) + np.log(2 * np.pi)) + rss / sigma2 + logdet
    uncertain = covariance * restricted
    slopes = [_slopes(design, *part, spread, beta, uncertain) for part in zip(blocks, whites, strict=True)]
    d_rss, d_logs = (np.sum(part, axis=0) for part in zip(*slopes, strict=True))
    free = float(sigma2 > design.sigma2_floor)
    penalty = prior.penalty(spread.start, spread.both, spread.rate, path_ratio, sigma2)
    slope = d_rss / sigma2 + d_logs + penalty.slope + penalty.by_log_sigma2 * free * d_rss / max(rss, 1e-300)
    return Profile(value + penalty.value, slope, beta, information, sigma2)


@dataclass(frozen=True)
class _Moments:
    """What the runs say of the mean: X'WX, its score, the sum of squares explained by the spread, log determinants."""

    information: Floats
    score: Floats
    explained: float
    logdet: float


def _moments(design: Design, blocks: list[_Block], whites: list[_Whitened], spread: Spread) -> _Moments:
    z, count = design.kinds, len(design.kinds)
    w11, s, explained = 0.0, 0.0, 0.0
    w12, w22, x = np.zeros(count), np.zeros(count), np.zeros(count)
    for block, white in zip(blocks, whites, strict=True):
        one = block.sums
        v1, vx = solve_run(one, spread, one.t1, one.tx)
        both = spread.start * one.t1 * v1 + spread.both * (one.t1 * vx + one.tx * v1)
        explained += float(np.sum(both + spread.rate * one.tx * vx))
        w22 += np.bincount(block.kind, white.w22, minlength=count)
        x += np.bincount(block.kind, vx, minlength=count)
        if design.has_start:
            w11 += float(np.sum(block.unknown * white.w11))
            w12 += np.bincount(block.kind, block.unknown * white.w12, minlength=count)
            s += float(np.sum(block.unknown * v1))
    information, score = z.T @ (z * w22[:, None]), z.T @ x
    if design.has_start:
        cross = z.T @ w12
        information = np.block([[np.full((1, 1), w11), cross[None, :]], [cross[:, None], information]])
        score = np.concatenate([[s], score])
    return _Moments(information, score, explained, sum(white.logdet for white in whites))


def _slopes(  # noqa: PLR0913, PLR0917 (what the value was made of)
    design: Design,
    block: _Block,
    white: _Whitened,
    spread: Spread,
    beta: Floats,
    covariance: Floats,
) -> tuple[Floats, Floats]:
    """Slopes of RSS and of the log determinants in the spread, two symmetric 2 x 2 matrices."""
    sums, kind, z, first = block.sums, block.kind, design.kinds, int(design.has_start)
    a = block.unknown * beta[0] if first else np.zeros(())
    g = (z @ beta[first:])[kind]
    r1, rx = sums.t1 - sums.s11 * a - sums.s1x * g, sums.tx - sums.s1x * a - sums.sxx * g
    if block.bends:
        bent = beta[design.bent_places]
        r1, rx = r1 - bent @ block.bends.m1, rx - bent @ block.bends.mx
    u1, ux = solve_run(sums, spread, r1, rx)
    d_rss = -_symmetric(np.sum(u1 * u1), np.sum(u1 * ux), np.sum(ux * ux))
    if block.bends:
        return d_rss, _log_slope(white, *_levers(design, block, white, spread), covariance)
    cgg = np.sum((z @ covariance[first:, first:]) * z, axis=1)[kind]
    cag = block.unknown * (z @ covariance[0, 1:])[kind] if first else np.zeros(())
    caa = block.unknown * covariance[0, 0] if first else np.zeros(())
    w11, w12, w22 = white.w11, white.w12, white.w22
    l11 = w11 * w11 * caa + 2 * w11 * w12 * cag + w12 * w12 * cgg
    l12 = w11 * w12 * caa + (w11 * w22 + w12 * w12) * cag + w12 * w22 * cgg
    l22 = w12 * w12 * caa + 2 * w12 * w22 * cag + w22 * w22 * cgg
    return d_rss, _symmetric(np.sum(w11 - l11), np.sum(w12 - l12), np.sum(w22 - l22))


def _levers(design: Design, block: _Block, white: _Whitened, spread: Spread) -> tuple[Floats, Floats]:
    """Z'V^-1 X of each run, two rows of (n_runs, n_coefficients): W B, and (I + A spread)^-1 M where a column bends."""
    one, z = np.ones_like(block.unknown), design.kinds[block.kind]
    start, rate = z * (one * white.w12)[:, None], z * white.w22[:, None]
    if design.has_start:
        start = np.column_stack([block.unknown * white.w11, start])
        rate = np.column_stack([block.unknown * white.w12, rate])
    if block.bends:
        b1, bx = solve_run(block.sums, spread, block.bends.m1, block.bends.mx)
        start[:, design.bent_places] += b1.T
        rate[:, design.bent_places] += bx.T
    return start, rate


def _log_slope(white: _Whitened, start: Floats, rate: Floats, covariance: Floats) -> Floats:
    """Slope of the log determinants in the spread, given the levers of each run."""
    by_start, by_rate = start @ covariance, rate @ covariance
    l11, l12, l22 = np.sum(by_start * start), np.sum(by_start * rate), np.sum(by_rate * rate)
    return _symmetric(np.sum(white.w11) - l11, np.sum(white.w12) - l12, np.sum(white.w22) - l22)


def _with_bends(
    told: _Moments, design: Design, blocks: list[_Block], bends: BendSums, spread: Spread
) -> _Moments:
    """Add what the bends say: d'V^-1 d = d'd - M' spread P M, its score, and its products with the other columns."""
    places = design.bent_places
    own, score = bends.gram.copy(), bends.score.copy()
    cross = np.zeros((len(places), told.score.size))
    for block in blocks:
        mine, sums = cast("BendSums", block.bends), block.sums
        b1, bx = solve_run(sums, spread, mine.m1, mine.mx)
        own -= mine.m1 @ (spread.start * b1 + spread.both * bx).T
        own -= mine.mx @ (spread.both * b1 + spread.rate * bx).T
        v1, vx = solve_run(sums, spread, sums.t1, sums.tx)
        score -= mine.m1 @ (np.ones_like(vx) * (spread.start * v1 + spread.both * vx))
        score -= mine.mx @ (spread.both * v1 + spread.rate * vx)
        if design.has_start:
            cross[:, 0] += b1 @ block.unknown
        cross[:, int(design.has_start) :] += bx @ design.kinds[block.kind]
    information, total = told.information.copy(), told.score.copy()
    information[places] += cross
    information[:, places] += cross.T
    information[np.ix_(places, places)] += own
    total[places] += score
    return replace(told, information=information, score=total)


def _symmetric(start: float, both: float, rate: float) -> Floats:
    return np.array([[start, both], [both, rate]])
