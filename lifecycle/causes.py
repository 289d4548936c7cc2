"""Removals for other reasons than wear: a life for each cause and brake type, thin ones pooled, as competing risks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.observations import UNSCHEDULED
from lifecycle.stays_watched import Watched
from lifecycle.weibull import Belief, WeibullLife, common_shape, fit_weibull

Floats = npt.NDArray[np.float64]

# A shape is held to be 1, a constant rate, give or take a factor of 1.6; a type's to be near that of all types. What
# all types show counts as two removals of a type. (Common practice, no source; 40 removals outvote each.)
ALL_TYPES: Final = Belief(shape=1.0, shape_sd=0.5)
TYPE_SHAPE_SD: Final = 0.3
WEIGHT: Final = 2.0
GRID: Final = 256


@dataclass(frozen=True)
class CauseLife:
    """Life of one brake type against one cause, landings since new or overhaul; others removed count as censored."""

    brake_type: str
    cause: str
    life: WeibullLife


@dataclass(frozen=True)
class Hazards:
    """
    Cumulative hazard of all other causes together, by brake type.

    Attributes
    ----------
    brake_types : tuple of str
        Their order in `total`.
    ages : array of shape (n_ages,)
        Braked landings since new or overhaul, ascending from 0.
    total : array of shape (n_types, n_ages)
        Sum over causes of the cumulative hazard; beyond the last age it goes on at its last slope.
    doubt : array of shape (n_types,)
        Standard deviation of a factor on all of it, mean 1: how well removals so few tell the rates.
    """

    brake_types: tuple[str, ...]
    ages: Floats
    total: Floats
    doubt: Floats

    def at(self, kind: npt.ArrayLike, age: npt.ArrayLike) -> Floats:
        """
        Cumulative hazard.

        Parameters
        ----------
        kind : array of int
            Row of ``brake_types``.
        age : array of float, shape that broadcasts with kind
            Braked landings since new or overhaul.

        Returns
        -------
        array
            Expected removals by that age.
        """
        kind, age = np.broadcast_arrays(np.asarray(kind), np.asarray(age, dtype=float))
        found = np.zeros(age.shape)
        for row in np.unique(kind):
            mine = kind == row
            slope = (self.total[row, -1] - self.total[row, -2]) / (self.ages[-1] - self.ages[-2])
            beyond = np.maximum(age[mine] - self.ages[-1], 0.0)
            found[mine] = np.interp(age[mine], self.ages, self.total[row]) + slope * beyond
        return found


def fit_causes(watched: Watched) -> tuple[CauseLife, ...]:
    """
    A life for every brake type and every unscheduled cause seen in the fleet.

    Parameters
    ----------
    watched : Watched
        Stays with ages; those whose age is not known count in no shape.

    Returns
    -------
    tuple of CauseLife
        By brake type, then by cause in the order of `UNSCHEDULED`. A cause that no brake of the fleet was removed
        for is left out: it adds nothing to what is expected.

    Notes
    -----
    Each cause is fitted with all other removals as censored, which is right whatever the others do as long as causes
    do not warn of one another. All types share a shape (their scales differ), drawn towards 1; a type's own shape is
    drawn towards that, and its removals towards those that the fleet's rate would bring over the same landings. With
    few removals the life is therefore nearly exponential at the fleet's rate, with many it is the type's own.
    """
    known = watched.left > watched.entered  # false where an age is not known
    kinds, entered, left = watched.brake_type[known], watched.entered[known], watched.left[known]
    found: dict[tuple[str, str], CauseLife] = {}
    for cause in UNSCHEDULED:
        ended = watched.reason[known] == cause
        if not ended.any():
            continue
        of_type = {str(name): kinds == name for name in np.unique(kinds)}
        shape, _ = common_shape([(entered[at], left[at], ended[at]) for at in of_type.values()], ALL_TYPES)
        rate = ended.sum() / np.sum(left**shape - entered**shape)
        for name, at in of_type.items():
            expected = float(rate * np.sum(left[at] ** shape - entered[at] ** shape))
            belief = Belief(shape, TYPE_SHAPE_SD, expected=expected, weight=WEIGHT)
            life = fit_weibull(left[at], ended[at], entered=entered[at], belief=belief)
            found[name, cause] = CauseLife(name, cause, life)
    order = {cause: at for at, cause in enumerate(UNSCHEDULED)}
    return tuple(found[key] for key in sorted(found, key=lambda key: (key[0], order[key[1]])))


def hazards_of(causes: Sequence[CauseLife], brake_types: Sequence[str], *, up_to: float) -> Hazards:
    """
    All causes of each brake type added up, in a table.

    Parameters
    ----------
    causes : sequence of CauseLife
        Lives by type and cause.
    brake_types : sequence of str
        Types wanted; one without a life has no other removals.
    up_to : float
        Oldest age asked for, landings.

    Returns
    -------
    Hazards
        Ages stand closer near 0, where a falling hazard bends most.

    Notes
    -----
    The rate of a cause that was seen d times has a gamma law of d + 2 removals, the 2 from `fit_causes`: its variance
    is 1 / (d + 2) of its square. Causes are independent; the shapes are taken as known.
    """
    ages = max(up_to, 1.0) * np.linspace(0.0, 1.0, GRID) ** 2
    total, square = np.zeros((len(brake_types), GRID)), np.zeros(len(brake_types))
    row = {name: at for at, name in enumerate(brake_types)}
    for each in causes:
        if each.brake_type in row:
            own = each.life.cumulative(ages)
            total[row[each.brake_type]] += own
            square[row[each.brake_type]] += own[-1] ** 2 / (each.life.ended + WEIGHT)
    last = total[:, -1]
    doubt = np.divide(np.sqrt(square), last, out=np.zeros_like(square), where=last > 0)
    return Hazards(tuple(brake_types), ages, total, doubt)
