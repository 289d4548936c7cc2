"""How often brakes come off, by type and cause, with intervals that hold where nothing came off."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import gammaincinv

from lifecycle.causes import CauseLife
from lifecycle.observations import UNSCHEDULED
from lifecycle.stays_watched import NOT_RECORDED, Watched

TAIL: Final = 0.1  # either side of an 80 % interval
ALL: Final = "all unscheduled"
WORN: Final = "worn"


@dataclass(frozen=True)
class RateInterval:
    """Events a unit of exposure: the figure, and its interval."""

    rate: float
    low: float
    high: float


@dataclass(frozen=True)
class RemovalRate:
    """
    Removals of one brake type for one cause (or all unscheduled ones, or as worn), over the landings watched.

    Rates are removals per 1 000 braked landings; ``landings_between`` and its high end are None where nothing came
    off: then only the low end is known. Intervals are 80 %. ``shape`` is that of the fitted life: above 1 the cause
    strikes older heat sinks more; None where no life is fitted.
    """

    brake_type: str
    cause: str
    removals: int
    landings: float
    per_1000: float
    per_1000_low: float
    per_1000_high: float
    landings_between: float | None
    landings_between_low: float
    landings_between_high: float | None
    shape: float | None = None
    shape_low: float | None = None
    shape_high: float | None = None


@dataclass(frozen=True)
class Removals:
    """
    Why brakes come off.

    ``rates``: for each brake type all unscheduled removals, then each cause seen in the fleet, then worn. ``not_told``
    are removals without a reason on record, ``other`` those for the operator's own reasons (robbed, opportunity, ...).
    """

    rates: tuple[RemovalRate, ...]
    not_told: int
    other: int


def rate_interval(events: int, exposure: float, *, tail: float = TAIL) -> RateInterval:
    """
    Rate of events with an exact interval.

    Parameters
    ----------
    events : int
        How many, 0 or more.
    exposure : float
        Over how much, above 0.
    tail : float
        Chance left on either side.

    Returns
    -------
    RateInterval
        Low end 0 where there was no event.

    Notes
    -----
    chi2(tail; 2 n) / (2 T) to chi2(1 - tail; 2 n + 2) / (2 T).

    References
    ----------
    Garwood 1936, Fiducial limits for the Poisson distribution, Biometrika 28; NIST/SEMATECH e-Handbook 8.4.5.1.
    """
    low = float(gammaincinv(events, tail)) if events else 0.0
    return RateInterval(
        events / exposure, low / exposure, float(gammaincinv(events + 1, 1 - tail)) / exposure
    )


def removal_rates(watched: Watched, causes: Sequence[CauseLife]) -> Removals:
    """
    Removals by brake type and cause.

    Parameters
    ----------
    watched : Watched
        Stays with their landings, those of unknown age too.
    causes : sequence of CauseLife
        Fitted lives, for the shapes.

    Returns
    -------
    Removals
        Brake types in alphabetical order; one without a landing is left out.
    """
    gone = watched.reason != ""
    early = np.isin(watched.reason, UNSCHEDULED)
    told = watched.reason == NOT_RECORDED
    return Removals(
        rates=tuple(_rates(watched, {(each.brake_type, each.cause): each for each in causes})),
        not_told=int(told.sum()),
        other=int((gone & ~early & ~told & (watched.reason != WORN)).sum()),
    )


def _rates(watched: Watched, lives: dict[tuple[str, str], CauseLife]) -> Iterator[RemovalRate]:
    seen = [cause for cause in UNSCHEDULED if (watched.reason == cause).any()]
    for name in np.unique(watched.brake_type):
        mine = watched.brake_type == name
        landings = float(watched.landings[mine].sum())
        if landings <= 0:
            continue
        count = {cause: int((watched.reason[mine] == cause).sum()) for cause in (*seen, WORN)}
        yield _rate(str(name), ALL, sum(count[cause] for cause in seen), landings)
        for cause in (*seen, WORN):
            yield _rate(str(name), cause, count[cause], landings, lives.get((str(name), cause)))


def _rate(name: str, cause: str, count: int, landings: float, life: CauseLife | None = None) -> RemovalRate:
    told = rate_interval(count, landings)
    shape = life.life if life else None
    return RemovalRate(
        brake_type=name,
        cause=cause,
        removals=count,
        landings=landings,
        per_1000=1000 * told.rate,
        per_1000_low=1000 * told.low,
        per_1000_high=1000 * told.high,
        landings_between=1 / told.rate if count else None,
        landings_between_low=1 / told.high,
        landings_between_high=1 / told.low if count else None,
        shape=shape.shape if shape else None,
        shape_low=shape.shape_low if shape else None,
        shape_high=shape.shape_high if shape else None,
    )
