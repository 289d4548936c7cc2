"""What brake types show together of a counter's effect: a normal law of it between types, to lean on."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np

from lifecycle.landing_kinds import COSINE, ENERGY, REJECTED, SINE, TOUCHES


@dataclass(frozen=True)
class KindBelief:
    """Effect of a unit of a counter, in landings of wear: mean and deviation between types; whether types show it."""

    mean: float
    sd: float
    shown: bool = False


@dataclass(frozen=True)
class KindSeen:
    """Effect of a counter found in one type, and its standard error, as fractions of a landing's wear."""

    effect: float
    error: float


# How far an effect may be from none before any type has shown it (common practice, no source). Energy: wear that goes
# all with energy has 1; a touch-and-go hardly brakes; a rejected take-off counts its energy already.
POSSIBLE: Final[Mapping[str, float]] = MappingProxyType(
    {TOUCHES: 0.3, REJECTED: 1.0, ENERGY: 1.0, COSINE: 0.1, SINE: 0.1}
)
TYPES_WANTED: Final = 2
NO_BELIEFS: Final[Mapping[str, KindBelief]] = MappingProxyType({})


def weak_belief(name: str) -> KindBelief:
    """What is believed of a counter that no other type has shown: none, within what is possible."""
    return KindBelief(0.0, POSSIBLE[name])


def pooled_belief(name: str, seen: Iterable[KindSeen]) -> KindBelief:
    """
    The law of an effect between types.

    Parameters
    ----------
    name : str
        The counter.
    seen : iterable of KindSeen
        Of the other types that carry it.

    Returns
    -------
    KindBelief
        With no type the weak belief. The standard deviation includes the error of the mean. It is shown where two types
        or more, without that belief, have a mean two standard errors from none.

    Notes
    -----
    Effects b_i with errors s_i: tau^2 by moments, (sum (b_i - mean)^2 - (1 - 1/n) sum s_i^2) / (n - 1) held at 0, then
    averaged with one more type that shows the weak belief; the mean is weighted by 1/(tau^2 + s_i^2),
    the weak belief being one of the types.

    References
    ----------
    R. DerSimonian, N. Laird, Controlled Clinical Trials 7, 1986, section 2 (unweighted form).
    """
    found = list(seen)
    weak = POSSIBLE[name]
    if not found:
        return KindBelief(0.0, weak)
    effect, variance = (np.array([getattr(one, field) for one in found]) for field in ("effect", "error"))
    variance = np.square(variance)
    n = effect.size
    between = max(float(np.sum((effect - effect.mean()) ** 2) - (1 - 1 / n) * variance.sum()), 0.0)
    tau2 = (between + weak**2) / n
    weight = 1.0 / (tau2 + variance)
    whole = float(weight.sum() + 1.0 / weak**2)
    mean = float(weight @ effect) / whole
    own = 1.0 / (between / max(n - 1, 1) + variance)
    shown = n >= TYPES_WANTED and abs(own @ effect) > 2.0 * np.sqrt(own.sum())
    return KindBelief(mean, float(np.sqrt(tau2 + 1.0 / whole)), shown=bool(shown))
