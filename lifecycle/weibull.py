"""Weibull lives with censoring and late entry, for removals that wear does not explain."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize_scalar
from scipy.special import ndtri

from lifecycle.errors import NotEnoughDataError

Floats = npt.NDArray[np.float64]

EIGHTY: Final = float(ndtri(0.9))  # standard deviations on either side of an 80 % interval
# Logs of where a shape is looked for; none of a trade's lies near either end.
SHAPES: Final = (float(np.log(0.05)), float(np.log(50.0)))
STEP: Final = 1e-3  # of the log shape, for the curvature


@dataclass(frozen=True)
class Belief:
    """
    What is held of a life before its own data.

    ``shape`` with ``shape_sd`` of its logarithm, and that its group would see ``expected`` ends over the same
    exposure, which counts as ``weight`` ends seen (none where 0).
    """

    shape: float = 1.0
    shape_sd: float = np.inf
    expected: float = 0.0
    weight: float = 0.0


@dataclass(frozen=True)
class WeibullLife:
    """
    Lives with survival exp(-(x / scale) ** shape), x in the unit of the lives fitted.

    ``shape_low`` and ``shape_high`` are 80 %; ``log_likelihood`` is that of the data at the fit; ``ended`` and
    ``censored`` count the lives it stands on.
    """

    shape: float
    scale: float
    shape_low: float
    shape_high: float
    log_likelihood: float
    ended: int
    censored: int

    def cumulative(self, age: npt.ArrayLike) -> Floats:
        """
        Cumulative hazard.

        Parameters
        ----------
        age : array
            Ages, 0 or more.

        Returns
        -------
        array, same shape
            (age / scale) ** shape: expected ends by that age, were each followed by another at the same age.
        """
        return np.asarray((np.asarray(age, dtype=float) / self.scale) ** self.shape)


NOTHING_HELD: Final = Belief()


def fit_weibull(
    lives: npt.ArrayLike,
    ended: npt.ArrayLike,
    *,
    entered: npt.ArrayLike = 0.0,
    belief: Belief = NOTHING_HELD,
) -> WeibullLife:
    """
    Fit a Weibull distribution to lives of which some are censored and some came under watch late.

    Parameters
    ----------
    lives : array of shape (n,)
        Ages at which each stopped being watched, above 0; braked landings since new or overhaul, for removals.
    ended : array of bool, shape (n,)
        Whether the cause in question ended it then; the others are right-censored (cause-specific lives).
    entered : float or array of shape (n,)
        Age from which each was watched (left truncation): that of a brake fitted before the records begin.
    belief : Belief
        What is held beforehand; without one the fit is by maximum likelihood.

    Returns
    -------
    WeibullLife
        Shape and scale.

    Raises
    ------
    NotEnoughDataError
        If, without a belief, fewer than two different lives ended by the cause: the shape has no estimate then. If
        nothing was watched for any length.

    Notes
    -----
    With d ends at x_i and G(k) = sum of b^k - a^k over ages a to b under watch, the likelihood at scale^-k = m / G(k)
    is prod k x_i^(k - 1) / G^d, times m^d exp(-m): the shape k maximises the first, m = d the second. A belief adds
    (log k - log k0)^2 / (2 sd^2), and makes m the mean of a gamma law, e (d + w) / (e + w), with e ends expected of
    its group counting as w. Shape 1 is the exponential law, so that a belief around 1 falls back to a constant rate
    where the data tell no shape.

    References
    ----------
    Meeker and Escobar 1998, Statistical Methods for Reliability Data, sections 8.2, 11.6 (truncation) and 15.2
    (competing causes); recalled.
    """
    b = np.asarray(lives, dtype=float)
    a = np.minimum(np.broadcast_to(np.asarray(entered, dtype=float), b.shape), b)
    failed = np.asarray(ended, dtype=bool)
    count = int(failed.sum())
    if np.isinf(belief.shape_sd) and np.unique(b[failed]).size < 2:
        found = np.unique(b[failed]).size
        raise NotEnoughDataError(f"a Weibull fit found {found} different ended lives; at least 2 are wanted")
    unit = float((b - a).sum() / max(b.size, 1))
    if unit <= 0:
        raise NotEnoughDataError("nothing was watched for any length; ages that differ from entry are wanted")
    shape, shape_sd = _shape((_Watched(a / unit, b / unit, failed),), belief)
    exposure = _Watched(a / unit, b / unit, failed).exposure(shape)
    ends = count if belief.weight <= 0 else _shrunk(count, belief)
    scale = unit * (exposure / ends) ** (1 / shape)
    life = WeibullLife(
        shape, scale, *_around(shape, shape_sd), log_likelihood=0.0, ended=count, censored=int(b.size - count)
    )
    hazards = np.log(shape / scale) + (shape - 1) * np.log(b[failed] / scale)
    told = float(hazards.sum() - (life.cumulative(b) - life.cumulative(a)).sum())
    return WeibullLife(**{**vars(life), "log_likelihood": told})


def common_shape(
    groups: list[tuple[npt.ArrayLike, npt.ArrayLike, npt.ArrayLike]], belief: Belief
) -> tuple[float, float]:
    """
    One shape for several groups whose scales differ.

    Parameters
    ----------
    groups : list of (entered, lives, ended)
        As in `fit_weibull`, one entry a group.
    belief : Belief
        Of the shape.

    Returns
    -------
    tuple of float
        Shape, and standard deviation of its logarithm.
    """
    watched = [
        _Watched(np.asarray(a, dtype=float), np.asarray(b, dtype=float), np.asarray(failed, dtype=bool))
        for a, b, failed in groups
    ]
    unit = float(np.mean(np.concatenate([each.lives for each in watched])))
    return _shape(
        tuple(_Watched(each.entered / unit, each.lives / unit, each.ended) for each in watched), belief
    )


@dataclass(frozen=True)
class _Watched:
    entered: Floats
    lives: Floats
    ended: npt.NDArray[np.bool_]

    def exposure(self, shape: float) -> float:
        return float(np.sum(self.lives**shape - self.entered**shape))


def _shrunk(count: int, belief: Belief) -> float:
    return belief.expected * (count + belief.weight) / (belief.expected + belief.weight)


def _shape(groups: tuple[_Watched, ...], belief: Belief) -> tuple[float, float]:
    told = [(each, int(each.ended.sum()), float(np.log(each.lives[each.ended]).sum())) for each in groups]

    def against(log_shape: float) -> float:
        shape = float(np.exp(log_shape))
        held = ((log_shape - np.log(belief.shape)) / belief.shape_sd) ** 2 / 2
        data = sum(
            ends * (log_shape - np.log(each.exposure(shape))) + (shape - 1) * logs
            for each, ends, logs in told
            if ends
        )
        return float(held - data)

    best = float(minimize_scalar(against, bounds=SHAPES, method="bounded", options={"xatol": 1e-10}).x)
    bend = (against(best + STEP) - 2 * against(best) + against(best - STEP)) / STEP**2
    return float(np.exp(best)), float(1 / np.sqrt(max(bend, 1e-12)))


def _around(shape: float, log_sd: float) -> tuple[float, float]:
    return float(shape * np.exp(-EIGHTY * log_sd)), float(shape * np.exp(EIGHTY * log_sd))
