"""How many landings a brake has left by its last reading, from the figures of its type as last fitted."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.expected import PinState
from lifecycle.installed import DOF_MIN
from lifecycle.life import Passage

LEVELS: Final = np.array([[0.1], [0.5], [0.9]])


@dataclass(frozen=True)
class LandingsLeft:
    """Braked landings to the limit, reached by then with a chance of 1 in 10, 1 in 2, 9 in 10; infinite for never."""

    p10: float
    p50: float
    p90: float


def landings_left(state: PinState, limit_mm: float) -> LandingsLeft:
    """
    Landings to the limit, without a fit.

    Parameters
    ----------
    state : PinState
        Of the governing pin now, as `expected.carried_on` leaves it after a reading.
    limit_mm : float
        Wear limit, length left, millimetres.

    Returns
    -------
    LandingsLeft
        0 where the limit is taken as reached.

    Notes
    -----
    The law of `life.Passage` with D = length left less limit and c = -Cov(left, rate): what `installed.law_of` gives of
    the posterior that `wear.refresh` draws from the same readings and the same figures of the type.
    """
    values = (
        state.left_mm - limit_mm,
        state.rate_mm,
        state.rate_var,
        state.path_sd,
        state.left_var,
        -state.both,
        0.0,
        max(state.dof, DOF_MIN),
    )
    law = Passage(*(np.array([each]) for each in values))
    return LandingsLeft(*law.landings(LEVELS)[:, 0].tolist())
