"""Fit of the wear model to arrays of readings: a Wiener path with a random rate and measurement error, by REML."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from lifecycle.bends import BendSums, filter_bends
from lifecycle.errors import BadRecordsError, NotEnoughDataError
from lifecycle.pathfilter import Bools, Floats, PathSums, Readings, arrange, filter_path
from lifecycle.reml import Design, Spread, kinds_of, means, profile, solve_run
from lifecycle.reml_search import Found, Problem, Start, search
from lifecycle.wear_prior import NO_PRIOR, WearPrior


@dataclass(frozen=True)
class WearFit:
    """
    Estimates of the wear model.

    Attributes
    ----------
    rate : array of shape (n_columns,)
        Coefficients of the mean rate, mm per landing; 0 for a column dropped by the rank check.
    covariance : array of shape (1 + n_columns, 1 + n_columns)
        Of the mean start (first; zeros where none is estimated) and the rate coefficients.
    rate_sd, path_sd, measurement_sd : float
        Between runs, mm/landing; of the path, mm per root landing; of one reading, mm.
    start_mm, start_sd, start_correlation : float
        Mean and standard deviation of an unknown start, mm, and its correlation with the rate; 0 where none is.
    has_start : bool
        The distribution of an unknown start was estimated; else each sets its level by its first reading.
    criterion : float
        -2 log REML (with the prior's part, where there is a prior).
    degrees : float
        Readings less coefficients, plus what the prior counts for.
    runs, readings : int
        Runs with a reading that tells something, and their readings.
    columns_kept : array of bool, shape (n_columns,)
        Columns not dropped.
    warnings : tuple of str
        What a reader should know before trusting the figures.
    """

    rate: Floats
    covariance: Floats
    rate_sd: float
    path_sd: float
    measurement_sd: float
    start_mm: float
    start_sd: float
    start_correlation: float
    has_start: bool
    criterion: float
    degrees: float
    runs: int
    readings: int
    columns_kept: Bools
    warnings: tuple[str, ...] = ()

    @property
    def path_ratio(self) -> float:
        """Path variance per landing over measurement variance."""
        return (self.path_sd / self.measurement_sd) ** 2

    @property
    def spread(self) -> Spread:
        """Covariance of start and rate over measurement variance."""
        sigma2 = self.measurement_sd**2
        both = self.start_correlation * self.start_sd * self.rate_sd
        return Spread(self.start_sd**2 / sigma2, both / sigma2, self.rate_sd**2 / sigma2)


def fit_wear(  # noqa: PLR0913 (each says one thing about the readings)
    landings: npt.ArrayLike,
    wear_mm: npt.ArrayLike,
    *,
    design: npt.ArrayLike,
    known_start: npt.ArrayLike = True,
    copies: npt.ArrayLike = 1.0,
    restart: npt.ArrayLike = False,
    path_noise: bool = True,
    prior: WearPrior = NO_PRIOR,
    measurement_floor_mm: float = 0.0,
) -> WearFit:
    """
    Fit wear = start + rate x landings + path + error over many heat sink runs.

    Parameters
    ----------
    landings, wear_mm : array of shape (n_runs, n_readings)
        Braked landings of the run at each reading and wear there, mm; NaN where there is no reading.
    design : array of shape (n_runs, n_columns)
        Covariates of the rate; a column of ones for one common rate.
    known_start : bool or array of shape (n_runs,)
        Wear is zero at zero landings; else the start is random, its mean, variance and correlation estimated.
    copies : float or array of shape (n_runs, n_readings)
        Readings of one pin averaged into each value.
    restart : bool or array of shape (n_runs, n_readings)
        The level is unknown from this reading on.
    path_noise : bool
        False leaves the plain mixed model, whose forecast intervals are too narrow for real brakes.
    prior : WearPrior
        Weak beliefs for small fleets; none by default.
    measurement_floor_mm : float
        Least standard deviation of a reading, such as its resolution over root 12.

    Returns
    -------
    WearFit
        Estimates, always finite.

    Raises
    ------
    BadRecordsError
        If shapes do not fit, or landings fall along a run.
    NotEnoughDataError
        If no reading is left and no prior says anything.

    Notes
    -----
    Rate of run i ~ N(z_i'g, rate_sd^2); path a Wiener process of standard deviation path_sd per root landing; error
    N(0, measurement_sd^2 / copies). Linear algebra by a scalar Kalman filter; the restricted likelihood is
    in `lifecycle.reml`.

    References
    ----------
    G. A. Whitmore, Lifetime Data Analysis 1, 1995, section 2 (Wiener degradation with measurement error).
    J. C. Pinheiro, D. M. Bates, Mixed-Effects Models in S and S-PLUS, 2000, section 2.2 (REML).
    """
    readings = arrange(landings, wear_mm, known_start=known_start, copies=copies, restart=restart)
    z = np.atleast_2d(np.asarray(design, dtype=np.float64))
    if z.shape[0] != readings.unknown.size:
        raise BadRecordsError(
            f"design has {z.shape[0]} rows; one for each of {readings.unknown.size} runs is wanted"
        )
    return fit_readings(
        readings, z, path_noise=path_noise, prior=prior, measurement_floor_mm=measurement_floor_mm
    )


def fit_readings(  # noqa: PLR0913 (as fit_wear)
    readings: Readings,
    z: Floats,
    *,
    path_noise: bool = True,
    prior: WearPrior = NO_PRIOR,
    measurement_floor_mm: float = 0.0,
    near: WearFit | None = None,
    restricted: bool = True,
    same_path: bool = False,
) -> WearFit:
    """
    As `fit_wear`, of readings arranged already and a design of shape (n_runs, n_columns).

    The search begins at `near`, a fit of much the same readings, where one is given; with `same_path` its path noise,
    over the measurement's, stays. With `restricted` false the full likelihood is maximised and its -2 log is the
    criterion, so that fits with different columns can be compared.
    """
    told = np.flatnonzero((readings.valid & ~readings.restart).any(axis=0))
    if not told.size and not prior.rate:
        raise NotEnoughDataError("no run has a reading; at least one reading, or a prior, is wanted")
    readings, z = readings.take(told), z[told]
    sums, bends = filter_path(readings, 0.0), _bends(readings)
    kept, has_start = _estimable(readings, sums, z, prior, bends)
    if not has_start and readings.unknown.any():
        readings = with_free_level(readings)
        sums = filter_path(readings, 0.0)
    readings = readings.bent_by(kept)
    floor = max(measurement_floor_mm**2, _roundoff(readings))
    design = Design(
        *kinds_of(z[:, kept]), readings.unknown, has_start, readings.degrees, floor, readings.bent_columns
    )
    line = profile(sums, design, Spread(0.0, 0.0, 0.0), prior=prior, bends=_bends(readings)).coefficients
    problem = Problem(
        readings=_less_line(readings, design, line),
        design=design,
        scale=_typical_landings(readings),
        prior=prior.shifted(line[int(has_start) :]),
        restricted=restricted,
    )
    start = Start(near.spread, near.path_ratio) if near is not None else None
    found = search(problem, path_noise=path_noise, near=start, same_path=same_path)
    fit = _estimates(design, kept, line, found)
    return replace(
        fit,
        degrees=fit.degrees + prior.degrees,
        readings=int(np.count_nonzero(readings.valid)),
        warnings=_warnings(readings, sums, design, kept),
    )


def with_free_level(readings: Readings) -> Readings:
    """Unknown starts as a level set by the run's first reading, where their distribution is not estimated."""
    if not readings.unknown.any():
        return readings
    first = readings.valid & (np.cumsum(readings.valid, axis=0) == 1) & (readings.unknown > 0)
    return replace(readings, restart=readings.restart | first, unknown=np.zeros_like(readings.unknown))


def _bends(readings: Readings) -> BendSums | None:
    return filter_bends(readings, 0.0) if readings.bent_columns else None


def _estimable(
    readings: Readings, sums: PathSums, z: Floats, prior: WearPrior, bends: BendSums | None
) -> tuple[Bools, bool]:
    """Columns of the rate that are not constant zero nor a mix of those before them; whether the start is one more."""
    rate = products(readings, sums, z, bends)
    if prior.rate:
        rate = rate + np.diag(np.diag(rate) + 1.0)  # a belief about each coefficient makes each estimable
    cross = z.T @ (readings.unknown * sums.s1x)
    if bends:
        cross[list(readings.bent_columns)] += bends.m1.sum(axis=1)
    corner = np.array([[np.sum(readings.unknown * sums.s11)]])
    gram = np.block([[rate, cross[:, None]], [cross[None, :], corner]])
    kept = independent(gram)
    return kept[:-1], bool(kept[-1])


def products(readings: Readings, sums: PathSums, z: Floats, bends: BendSums | None) -> Floats:
    """
    Sums of squares and products of the columns of the rate, whitened by the filter.

    Parameters
    ----------
    readings : Readings
        Tells which columns bend.
    sums : PathSums
        Of them.
    z : array of shape (n_runs, n_columns)
        Growth per landing.
    bends : BendSums or None
        Of the columns that bend.

    Returns
    -------
    array of shape (n_columns, n_columns)
        Symmetric.
    """
    gram = z.T @ (z * sums.sxx[:, None])
    if bends:
        some = list(readings.bent_columns)
        cross = bends.mx @ z
        gram[some] += cross
        gram[:, some] += cross.T
        gram[np.ix_(some, some)] += bends.gram
    return np.asarray(gram)


def independent(gram: Floats) -> Bools:
    """
    Columns that are not a linear mix of the columns before them.

    Parameters
    ----------
    gram : array of shape (n_columns, n_columns)
        Sums of squares and products of the columns.

    Returns
    -------
    array of bool, shape (n_columns,)
        False for a zero column and for one that earlier columns explain to 1 part in 10^9.
    """
    kept: list[int] = []
    for column in range(gram.shape[0]):
        own, cross = gram[column, column], gram[column, kept]
        left = own - cross @ np.linalg.solve(gram[np.ix_(kept, kept)], cross) if kept else own
        if left > 1e-9 * own:
            kept.append(column)
    return np.isin(np.arange(gram.shape[0]), kept)


def _roundoff(readings: Readings) -> float:
    """Least measurement variance that sums of squares in double precision can tell: a perfect line stays finite."""
    return float((1e-6 * max(np.max(np.abs(readings.wear_mm[readings.valid]), initial=0.0), 1e-3)) ** 2)


def _typical_landings(readings: Readings) -> float:
    """Median landings of a run at its last reading, rounded to a power of two."""
    last = float(np.median(readings.landings[-1])) if readings.landings.size else 1.0
    return float(2.0 ** np.round(np.log2(max(last, 1.0))))


def _less_line(readings: Readings, design: Design, line: Floats) -> Readings:
    """What the pooled line leaves: the same model, with sums of squares that keep their digits."""
    start, rate = means(design, line)
    on_line = readings.valid * (start + rate * readings.landings)
    left = readings.straight(line[int(design.has_start) :]).wear_mm - on_line
    return replace(readings, wear_mm=left)


def _estimates(design: Design, kept: Bools, line: Floats, found: Found) -> WearFit:
    at, spread, sigma2 = found.at, found.spread, found.at.sigma2
    coefficients = line + at.coefficients
    places = np.concatenate([[design.has_start], kept]).nonzero()[0]
    covariance = np.zeros((1 + kept.size, 1 + kept.size))
    covariance[np.ix_(places, places)] = sigma2 * np.linalg.inv(at.information)
    every = np.zeros(1 + kept.size)
    every[places] = coefficients
    product = np.sqrt(spread.start * spread.rate)
    return WearFit(
        rate=every[1:],
        covariance=covariance,
        rate_sd=float(np.sqrt(spread.rate * sigma2)),
        path_sd=float(np.sqrt(found.path_ratio * sigma2)),
        measurement_sd=float(np.sqrt(sigma2)),
        start_mm=float(every[0]),
        start_sd=float(np.sqrt(spread.start * sigma2)),
        start_correlation=float(spread.both / product) if product > 0 else 0.0,
        has_start=design.has_start,
        criterion=at.value,
        degrees=float(design.degrees - coefficients.size),
        runs=design.unknown.size,
        readings=design.degrees,
        columns_kept=kept,
    )


def _warnings(readings: Readings, sums: PathSums, design: Design, kept: Bools) -> tuple[str, ...]:
    found = []
    if not kept.all():
        found.append(
            f"columns {np.flatnonzero(~kept).tolist()} of the design are constant or repeat others: dropped"
        )
    if design.degrees <= kept.sum() + design.has_start:
        found.append("as few readings as coefficients: the variances are not measured")
    values = readings.wear_mm[readings.valid]
    if values.size > 1 and np.ptp(values) == 0:
        found.append("all readings are equal: copied or unread")
    elif _on_perfect_lines(readings, sums):
        found.append("readings lie on perfect lines: copied or calculated, not read")
    return tuple(found)


def _on_perfect_lines(readings: Readings, sums: PathSums) -> bool:
    """Whether every run of three or more readings lies on a line of its own."""
    longer = np.count_nonzero(readings.valid & ~readings.restart, axis=0) > 1 + (readings.unknown > 0)
    none = Spread(1e12, 0.0, 1e12)  # as good as a free line for each run
    start, rate = solve_run(sums, none, sums.t1, sums.tx)
    left = sums.q - none.start * start * sums.t1 - none.rate * rate * sums.tx
    return bool(longer.any() and np.all(left[longer] <= 10 * _roundoff(readings)))
