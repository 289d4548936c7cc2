"""Whether the wear model fits the records: what a statistician would ask of its innovations."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import bdtrc, betaincinv, ndtr, ndtri

from lifecycle.curvature import Curvature, curvature_of
from lifecycle.errors import NotEnoughDataError
from lifecycle.exposure import Runs
from lifecycle.gamma_process import ProcessComparison, clear_increments, compare_processes
from lifecycle.influence import InfluentialRun, influential_runs
from lifecycle.pathfilter import Floats
from lifecycle.wear import FleetFit
from lifecycle.whitened import Whitened, whitened

NINETY_FIVE: Final = float(ndtri(0.975))
LAGS: Final = 6
MOST_NUMBERS: Final = 24
QQ_POINTS: Final = 61
FEWEST: Final = 3  # innovations behind one figure by reading number
FAR: Final = 3.0
BEYOND_FAR: Final = float(2 * ndtr(-FAR))  # of standard normal numbers
HARDLY_BY_CHANCE: Final = 0.01
FEW_RUNS: Final = 10  # with fewer no departure could show; common practice, no source


@dataclass(frozen=True)
class ByNumber:
    """Innovations of the readings with one number in their runs: mean with its 95 % interval, and spread (1 wanted)."""

    number: int
    readings: int
    mean: float
    mean_low: float
    mean_high: float
    sd: float


@dataclass(frozen=True)
class Lag:
    """Correlation of innovations so many readings apart in a run; 95 % of such lie within the band if none is there."""

    lag: int
    pairs: int
    correlation: float
    band: float


@dataclass(frozen=True)
class QuantilePoint:
    """One quantile of the innovations beside the one wanted, with the band that holds it 19 times in 20."""

    wanted: float
    found: float
    low: float
    high: float


@dataclass(frozen=True)
class TypeDiagnosis:
    """
    One brake type.

    ``innovations`` are standardised one-step forecast errors of the readings in the rate: mean 0, ``sd`` 1 and
    ``beyond_3`` of 0.27 % are wanted; ``sd`` is 1 by construction where the type's own readings gave the variances.
    ``doubts`` name in words what speaks against the model, none where nothing does; with ``too_few`` runs nothing
    could. ``kept_out`` are readings that the gate kept out of the rate and so out of these figures.
    """

    brake_type: str
    runs: int
    innovations: int
    mean: float
    sd: float
    beyond_3: float
    by_number: tuple[ByNumber, ...]
    lags: tuple[Lag, ...]
    quantiles: tuple[QuantilePoint, ...]
    curvature: Curvature | None
    processes: ProcessComparison | None
    influential: tuple[InfluentialRun, ...]
    doubts: tuple[str, ...]
    kept_out: int
    too_few: bool


def diagnose(runs: Runs, fit: FleetFit, brake_type: str = "") -> tuple[TypeDiagnosis, ...]:
    """
    Diagnose the fit of every brake type, or of one.

    Parameters
    ----------
    runs, fit : Runs, FleetFit
        All runs with their readings, and their fit.
    brake_type : str
        Only this type; "" for all.

    Returns
    -------
    tuple of TypeDiagnosis
        By name; types with fewer than two innovations are left out.

    Raises
    ------
    NotEnoughDataError
        If the one type asked for is left out or unknown.
    """
    read = [each for each in whitened(runs, fit) if np.count_nonzero(np.isfinite(each.away)) > 1]
    if brake_type and brake_type not in {each.brake_type for each in read}:
        known = ", ".join(each.brake_type for each in read) or "none"
        raise NotEnoughDataError(
            f"brake type {brake_type!r} has no readings to diagnose; wanted one of: {known}"
        )
    return tuple(_diagnosis(each) for each in read if brake_type in ("", each.brake_type))


def _diagnosis(told: Whitened) -> TypeDiagnosis:
    away = told.away[np.isfinite(told.away)]
    in_order = _in_order(told.away)
    lags, curvature = tuple(_lags(in_order)), curvature_of(told)
    processes = compare_processes(clear_increments(told))
    sd, beyond = float(np.std(away, ddof=1)), float(np.mean(np.abs(away) > FAR))
    runs = int(np.isfinite(told.away).any(axis=0).sum())
    return TypeDiagnosis(
        brake_type=told.brake_type,
        runs=runs,
        innovations=away.size,
        mean=float(away.mean()),
        sd=sd,
        beyond_3=beyond,
        by_number=tuple(_by_number(in_order)),
        lags=lags,
        quantiles=tuple(_quantiles(away)),
        curvature=curvature,
        processes=processes,
        influential=influential_runs(told),
        doubts=tuple(_doubts(away, sd, lags, curvature, processes)),
        kept_out=told.kept_out,
        too_few=runs < FEW_RUNS,
    )


def _in_order(away: Floats) -> Floats:
    """Innovations of each run moved up, so that those next to each other stand next to each other."""
    order = np.argsort(~np.isfinite(away), axis=0, kind="stable")
    return np.asarray(np.take_along_axis(away, order, axis=0))


def _by_number(in_order: Floats) -> Iterator[ByNumber]:
    for number, row in enumerate(in_order[:MOST_NUMBERS], start=1):
        values = row[np.isfinite(row)]
        if values.size < FEWEST:
            return
        mean, sd = float(values.mean()), float(values.std(ddof=1))
        half = NINETY_FIVE * sd / float(np.sqrt(values.size))
        yield ByNumber(number, values.size, mean, mean - half, mean + half, sd)


def _lags(in_order: Floats) -> Iterator[Lag]:
    centred = in_order - np.nanmean(in_order)
    variance = float(np.nanmean(centred**2))
    for lag in range(1, min(LAGS, len(in_order) - 1) + 1):
        products = centred[:-lag] * centred[lag:]
        products = products[np.isfinite(products)]
        if products.size < FEWEST:
            return
        correlation = float(products.mean() / variance)
        yield Lag(lag, products.size, correlation, float(NINETY_FIVE / np.sqrt(products.size)))


def _quantiles(away: npt.NDArray[np.float64]) -> Iterator[QuantilePoint]:
    """Order statistics at even normal scores; each lies between the quantiles of its own beta law."""
    ranks = np.unique(np.linspace(1, away.size, min(QQ_POINTS, away.size)).round().astype(np.int64))
    ends = np.unique(np.concatenate([ranks, np.arange(1, min(6, away.size) + 1)]))
    ends = np.unique(np.concatenate([ends, away.size + 1 - ends]))
    ordered = np.sort(away)
    for rank in ends.tolist():
        low, high = ndtri(betaincinv(rank, away.size + 1 - rank, np.array([0.025, 0.975])))
        wanted = float(ndtri((rank - 0.5) / away.size))
        yield QuantilePoint(wanted, float(ordered[rank - 1]), float(low), float(high))


def _doubts(
    away: Floats,
    sd: float,
    lags: tuple[Lag, ...],
    curvature: Curvature | None,
    processes: ProcessComparison | None,
) -> Iterator[str]:
    """
    What speaks against the model, where it is both surely there and large enough to matter.

    With many readings any departure is sure, with few none is; the sizes below are common practice, no source. Of the
    readings beyond 3 deviations the binomial tail alone decides: the gate has taken the furthest ones out already.
    """
    if abs(sd - 1) > max(0.1, 2 * NINETY_FIVE / np.sqrt(2 * away.size)):
        yield f"the readings scatter {sd:.2f} times as much as the model says"
    if lags and abs(lags[0].correlation) > max(0.1, 2 * lags[0].band):
        side = "the same" if lags[0].correlation > 0 else "the other"
        yield f"a reading that is off is followed by one off to {side} side (correlation {lags[0].correlation:.2f})"
    if curvature and curvature.chance < 0.01 and abs(curvature.change) > 0.1:
        word = "rises" if curvature.change > 0 else "falls"
        yield f"the wear rate {word} by {abs(curvature.change):.0%} over {curvature.over_landings:.0f} landings"
    if processes and processes.better == "gamma":
        yield "a gamma process tells the wear between readings better than the Wiener path of the fit"
    far = int(np.count_nonzero(np.abs(away) > FAR))
    if far and bdtrc(far - 1, away.size, BEYOND_FAR) < HARDLY_BY_CHANCE:
        found, wanted = f"{far} of {away.size} readings ({far / away.size:.1%})", away.size * BEYOND_FAR
        yield f"{found} are beyond 3 deviations, where {wanted:.1f} ({BEYOND_FAR:.1%}) are expected"
