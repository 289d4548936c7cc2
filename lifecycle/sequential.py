"""
When a claim is settled, however often it is looked at.

Two rules on the posterior of the log life x against the claim c, both with an error alpha of 5 %:

- with a declared indifference zone z: Wald's test of c + z against c - z. The likelihood ratio is the ratio of the
  posterior densities there, the prior being flat; settled when it passes (1 - alpha) / alpha either way. Inside the
  zone either verdict is taken for right.
- at any time and without a zone: what the records say for lives above the claim, mixed over a half-normal of sd
  MIXED beyond it, against the claim itself. Under lives not above the claim that ratio passes 1 / alpha with a chance
  of at most alpha, ever (Ville); and the same below.

"More than 95 % sure at one look" is no such rule: looked at again and again it is wrong far more often.

References
----------
A. Wald, Sequential Tests of Statistical Hypotheses, Ann. Math. Stat. 16, 1945, 117-186.
H. Robbins, Statistical methods related to the law of the iterated logarithm, Ann. Math. Stat. 41, 1970 (mixtures).
"""

from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr, logsumexp

from lifecycle.mean_life import MeanLife

Floats = npt.NDArray[np.float64]

ERROR: Final = 0.05
ZONE: Final = 0.05
MIXED: Final = 0.1  # the size of a difference that one would want to see soon, on the log scale
HOLDS: Final = "holds"
FAILS: Final = "fails"
OPEN: Final = "open"


def log_ratio(life: MeanLife, claim: float, zone: float = ZONE) -> float:
    """
    How much better a life above the indifference zone explains the records than one below it.

    Parameters
    ----------
    life : MeanLife
        What the records say.
    claim : float
        Landings, or a ratio.
    zone : float
        Half its width, as a fraction of the claim.

    Returns
    -------
    float
        Log likelihood ratio.
    """
    half = np.log1p(zone)
    return _log_density(life, np.log(claim) + half) - _log_density(life, np.log(claim) - half)


def by_zone(life: MeanLife, claim: float, *, zone: float = ZONE, error: float = ERROR) -> str:
    """
    Verdict of the test with an indifference zone.

    Parameters
    ----------
    life, claim, zone
        As in `log_ratio`.
    error : float
        Chance of a wrong verdict on either side, outside the zone.

    Returns
    -------
    str
        ``holds``, ``fails`` or ``open``.
    """
    found, enough = log_ratio(life, claim, zone), threshold(error)
    return HOLDS if found >= enough else FAILS if found <= -enough else OPEN


def threshold(error: float = ERROR) -> float:
    """
    Log likelihood ratio at which the test stops.

    Parameters
    ----------
    error : float
        Chance of a wrong verdict on either side.

    Returns
    -------
    float
        log((1 - error) / error).
    """
    return float(np.log1p(-error) - np.log(error))


def at_any_time(life: MeanLife, claim: float, *, error: float = ERROR) -> str:
    """
    Verdict that holds however often the records are looked at, without an indifference zone.

    Parameters
    ----------
    life, claim
        As in `log_ratio`.
    error : float
        Chance ever to give a wrong verdict.

    Returns
    -------
    str
        ``holds``, ``fails`` or ``open``.
    """
    enough, at = -np.log(error), float(np.log(claim))
    here = _log_density(life, at)
    if _log_beyond(life, at, side=1.0) - here >= enough:
        return HOLDS
    return FAILS if _log_beyond(life, at, side=-1.0) - here >= enough else OPEN


def _log_density(life: MeanLife, at: float) -> float:
    return float(logsumexp(_log_normal(at - life.middle, life.sd), b=life.weight))


def _log_beyond(life: MeanLife, at: float, *, side: float) -> float:
    """Density mixed over a half-normal beyond a point: normal times normal, cut at 0."""
    away = side * (life.middle - at)
    both = np.hypot(life.sd, MIXED)
    inside = log_ndtr(away * MIXED / (life.sd * both))
    return float(logsumexp(np.log(2) + _log_normal(away, both) + inside, b=life.weight))


def _log_normal(away: Floats, sd: Floats) -> Floats:
    return np.asarray(-((away / sd) ** 2) / 2 - np.log(sd * np.sqrt(2 * np.pi)))
