"""
When a claim is settled, however often it is looked at.

Both rules weigh what the records say for lives on one side of the claim c against the edge of the other side. With p
the posterior density of the log life, the prior flat, and alpha the error of 5 %, a claim fails once

    (mean of p(x) over lives x below the edge c - z) / p(c + z) >= 1 / alpha

and holds once the same on the other side does. Under lives of at least c + z that ratio ever passes 1 / alpha with a
chance of at most alpha (Ville), so that one may look at any time.

- with a declared indifference zone z: half of the weight lies at the edge c - z, where it is Wald's test of one edge
  against the other, and half beyond. Inside the zone either verdict is taken for right.
- without a zone, z = 0: all of the weight lies beyond.

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
# How far beyond the edge lives are looked for, on the log scale: half-normals of these sds, from slight to threefold.
BEYOND: Final = np.array([0.03, 0.1, 0.3, 1.0])
HOLDS: Final = "holds"
FAILS: Final = "fails"
OPEN: Final = "open"


def by_zone(life: MeanLife, claim: float, *, zone: float = ZONE, error: float = ERROR) -> str:
    """
    Verdict of the test with an indifference zone.

    Parameters
    ----------
    life : MeanLife
        What the records say.
    claim : float
        Landings, or a ratio.
    zone : float
        Half the width of the zone, as a fraction of the claim.
    error : float
        Chance ever to give a wrong verdict, on either side, outside the zone.

    Returns
    -------
    str
        ``holds``, ``fails`` or ``open``.
    """
    return _verdict(life, float(np.log(claim)), float(np.log1p(zone)), error)


def at_any_time(life: MeanLife, claim: float, *, error: float = ERROR) -> str:
    """
    Verdict without an indifference zone.

    Parameters
    ----------
    life, claim, error
        As in `by_zone`.

    Returns
    -------
    str
        ``holds``, ``fails`` or ``open``; it takes longer where the truth lies close to the claim.
    """
    return _verdict(life, float(np.log(claim)), 0.0, error)


def _verdict(life: MeanLife, at: float, half: float, error: float) -> str:
    enough = -np.log(error)
    if _evidence(life, at, half, side=1.0) >= enough:
        return HOLDS
    return FAILS if _evidence(life, at, half, side=-1.0) >= enough else OPEN


def _evidence(life: MeanLife, at: float, half: float, *, side: float) -> float:
    """Log of what speaks for lives on one side over what speaks for the edge of the other."""
    edge = at + side * half
    beyond = _log_beyond(life, edge, side=side)
    here = np.logaddexp(_log_density(life, edge), beyond) - np.log(2) if half > 0 else beyond
    return float(here - _log_density(life, at - side * half))


def _log_density(life: MeanLife, at: float) -> float:
    return float(logsumexp(_log_normal(at - life.middle, life.sd), b=life.weight))


def _log_beyond(life: MeanLife, edge: float, *, side: float) -> float:
    """Density mixed over half-normals beyond an edge: normal times normal, cut at 0; shape (n_nodes, n_sds) inside."""
    away, sd = side * (life.middle - edge)[:, None], life.sd[:, None]
    both = np.hypot(sd, BEYOND)
    inside = log_ndtr(away * BEYOND / (sd * both))
    mixed = np.log(2 / BEYOND.size) + _log_normal(away, both) + inside
    return float(logsumexp(mixed, b=np.broadcast_to(life.weight[:, None], mixed.shape)))


def _log_normal(away: Floats, sd: Floats) -> Floats:
    return np.asarray(-((away / sd) ** 2) / 2 - np.log(sd * np.sqrt(2 * np.pi)))
