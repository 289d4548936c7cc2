"""The restricted likelihood of the wear model, given the filter's sums, and its slope in the random effects."""

from dataclasses import dataclass

import numpy as np

from lifecycle.pathfilter import Floats, PathSums
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
    rate : array of shape (n_runs, n_columns)
        Covariates of the rate.
    unknown : array of shape (n_runs,)
        1 where the start is unknown.
    has_start : bool
        A mean start is estimated: its coefficient stands before those of the rate.
    degrees : int
        Readings that tell something.
    sigma2_floor : float
        Least measurement variance, mm^2.
    """

    rate: Floats
    unknown: Floats
    has_start: bool
    degrees: int
    sigma2_floor: float


@dataclass(frozen=True)
class Profile:
    """The criterion at given variance ratios, with all else at its best; slope[a, b] is d value / d spread[a, b]."""

    value: float
    slope: Floats
    coefficients: Floats
    information: Floats
    sigma2: float


@dataclass(frozen=True)
class _Whitened:
    """W = (A^-1 + spread)^-1 of each run and u = (I + A spread)^-1 t, the parts that meet the mean."""

    w11: Floats
    w12: Floats
    w22: Floats
    logdet: float


def _whiten(sums: PathSums, spread: Spread) -> _Whitened:
    det = sums.s11 * sums.sxx - sums.s1x**2
    trace = sums.s11 * spread.start + 2 * sums.s1x * spread.both + sums.sxx * spread.rate
    d = 1.0 + trace + det * (spread.start * spread.rate - spread.both**2)
    return _Whitened(
        w11=(sums.s11 + det * spread.rate) / d,
        w12=(sums.s1x - det * spread.both) / d,
        w22=(sums.sxx + det * spread.start) / d,
        logdet=float(np.sum(np.log(d))),
    )


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
    d = m11 * m22 - m12 * m21
    return (m22 * r1 - m12 * rx) / d, (m11 * rx - m21 * r1) / d


def _information(white: _Whitened, design: Design) -> Floats:
    z = design.rate
    rate = z.T @ (z * white.w22[:, None])
    if not design.has_start:
        return rate
    cross = z.T @ (design.unknown * white.w12)
    corner = np.sum(design.unknown * white.w11)
    return np.block([[corner.reshape(1, 1), cross[None, :]], [cross[:, None], rate]])


def _against_mean(design: Design, s: Floats, x: Floats) -> Floats:
    rate = design.rate.T @ x
    return np.concatenate([[np.sum(design.unknown * s)], rate]) if design.has_start else rate


def means(design: Design, coefficients: Floats) -> tuple[Floats, Floats]:
    """Mean start and mean rate of each run, two arrays of shape (n_runs,)."""
    if design.has_start:
        return design.unknown * coefficients[0], design.rate @ coefficients[1:]
    return np.zeros(()), design.rate @ coefficients


def profile(
    sums: PathSums, design: Design, spread: Spread, *, path_ratio: float = 0.0, prior: WearPrior = NO_PRIOR
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

    Returns
    -------
    Profile
        Value is -2 log REML (plus the prior's -2 log density, up to a constant).

    Notes
    -----
    With y = Z b + noise whitened by the filter, A = Z'Z, t = Z'y and b ~ N(X beta, spread), the marginal
    information is X'WX, W = (A^-1 + spread)^-1, and
    -2 log REML = (N - p)(log sigma^2 + log 2 pi) + RSS / sigma^2 + sum log f + sum log|I + A spread| + log|X'WX|,
    sigma^2 = RSS / (N - p), held up by the floor.

    References
    ----------
    D. Bates, M. Maechler, B. Bolker, S. Walker, J. Stat. Softw. 67(1), 2015, section 3.
    """
    white = _whiten(sums, spread)
    v1, vx = solve_run(sums, spread, sums.t1, sums.tx)
    information = _information(white, design) + np.diag(
        prior.precision(design.rate.shape[1], design.has_start)
    )
    pull = prior.pull(design.rate.shape[1], design.has_start)
    score = _against_mean(design, v1, vx) + pull
    covariance = np.linalg.inv(information).astype(np.float64)
    beta = covariance @ score
    explained = (
        spread.start * sums.t1 * v1 + spread.both * (sums.t1 * vx + sums.tx * v1) + spread.rate * sums.tx * vx
    )
    rss = max(float(np.sum(sums.q) - np.sum(explained) - beta @ score) + prior.rss, 0.0)
    degrees = max(design.degrees - beta.size + prior.degrees, 1)
    sigma2 = max(rss / degrees, design.sigma2_floor)
    value = (
        degrees * float(np.log(sigma2) + np.log(2 * np.pi))
        + rss / sigma2
        + float(np.sum(sums.logf))
        + white.logdet
        + float(np.linalg.slogdet(information)[1])
    )
    d_rss, d_logs = _slopes(sums, design, spread, white, beta, covariance)
    free = float(sigma2 > design.sigma2_floor)
    penalty = prior.penalty(spread.start, spread.both, spread.rate, path_ratio, sigma2)
    slope = d_rss / sigma2 + d_logs + penalty.slope + penalty.by_log_sigma2 * free * d_rss / max(rss, 1e-300)
    return Profile(value + penalty.value, slope, beta, information, sigma2)


def _slopes(  # noqa: PLR0913, PLR0917 (what the value was made of)
    sums: PathSums, design: Design, spread: Spread, white: _Whitened, beta: Floats, covariance: Floats
) -> tuple[Floats, Floats]:
    """Slopes of RSS and of the log determinants in the spread, two symmetric 2 x 2 matrices."""
    a, g = means(design, beta)
    r1, rx = sums.t1 - sums.s11 * a - sums.s1x * g, sums.tx - sums.s1x * a - sums.sxx * g
    u1, ux = solve_run(sums, spread, r1, rx)
    d_rss = -_symmetric(np.sum(u1 * u1), np.sum(u1 * ux), np.sum(ux * ux))
    first = int(design.has_start)
    z = design.rate
    cgg = np.einsum("ij,jk,ik->i", z, covariance[first:, first:], z)
    cag = design.unknown * (z @ covariance[0, 1:]) if first else np.zeros(())
    caa = design.unknown * covariance[0, 0] if first else np.zeros(())
    w11, w12, w22 = white.w11, white.w12, white.w22
    l11 = w11 * w11 * caa + 2 * w11 * w12 * cag + w12 * w12 * cgg
    l12 = w11 * w12 * caa + (w11 * w22 + w12 * w12) * cag + w12 * w22 * cgg
    l22 = w12 * w12 * caa + 2 * w12 * w22 * cag + w22 * w22 * cgg
    return d_rss, _symmetric(np.sum(w11 - l11), np.sum(w12 - l12), np.sum(w22 - l22))


def _symmetric(start: float, both: float, rate: float) -> Floats:
    return np.array([[start, both], [both, rate]])
