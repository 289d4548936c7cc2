"""Does a brake do what its maker says: a claimed mean life, or a claimed ratio of lives, against the records."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.errors import BadAssumptionError
from lifecycle.exposure import Runs
from lifecycle.guarantee import Refund
from lifecycle.mean_life import MeanLife, mean_life, sd_when
from lifecycle.own_rates import own_rates
from lifecycle.sequential import ERROR, OPEN, ZONE, at_any_time, by_zone
from lifecycle.wear import FleetFit

TIMES_MAX: Final = 1000.0  # nobody waits for a thousand times the landings
TIMES_WORTH_PLANNING: Final = 10.0  # as many landings again; common practice, no source
FEW_AIRCRAFT: Final = 4
CURVE_POINTS: Final = 81
SD_LEAST: Final = 1e-5


@dataclass(frozen=True)
class CurvePoint:
    """The chance that the true figure is at least so much."""

    figure: float
    chance: float


@dataclass(frozen=True)
class Claim:
    """
    A claim and what the records say of it.

    Attributes
    ----------
    claim : float
        What is claimed: mean landings per run, or the ratio of them to the other type's.
    estimate, low, high : float
        Of the same: P50, P10 and P90 of its posterior.
    chance_claim_holds : float
        Chance that the true figure is at least the claim.
    verdict : str
        ``holds``, ``fails`` or ``open`` by the sequential test with an indifference zone.
    landings_to_settle : float or None
        More braked landings of the type until that verdict is expected, the present estimate being true; 0 where it is
        given, None where no thousandfold of them would do.
    kind : str
        ``landings`` or ``ratio``.
    brake_type, against : str
        The type, and the other one for a ratio.
    verdict_any_time : str
        As ``verdict``, without a zone.
    aircraft_to_settle : int or None
        More aircraft that have to fly those landings, each as much as the present ones so far: 0 where the present
        ones will do. However much they fly, they tell no more of the mean than so many aircraft can.
    zone, error : float
        Of the test: half the width of the zone as a fraction of the claim, and the chance of a wrong verdict.
    aircraft, runs, landings : int, int, float
        What stands behind the type.
    between_aircraft, between_runs : float
        How much aircraft, and brakes on one aircraft, differ: standard deviations as parts of the mean rate.
    warnings : tuple of str
        What to know before quoting it.
    refund : Refund or None
        Where a cost per landing is guaranteed, what that is worth.
    """

    claim: float
    estimate: float
    low: float
    high: float
    chance_claim_holds: float
    verdict: str
    landings_to_settle: float | None
    kind: str
    brake_type: str
    against: str
    verdict_any_time: str
    aircraft_to_settle: int | None
    zone: float
    error: float
    aircraft: int
    runs: int
    landings: float
    between_aircraft: float
    between_runs: float
    warnings: tuple[str, ...] = ()
    refund: Refund | None = None

    @property
    def within_reach(self) -> bool:
        """Whether no more landings would settle it than somebody might plan for."""
        return (
            self.landings_to_settle is not None
            and self.landings_to_settle <= TIMES_WORTH_PLANNING * self.landings
        )


def check_claim(  # noqa: PLR0913 - a claim is a type, a figure and perhaps another type
    runs: Runs,
    fit: FleetFit,
    *,
    brake_type: str,
    against: str = "",
    landings: float | None = None,
    ratio: float | None = None,
) -> Claim:
    """
    Hold a claim against the records.

    Parameters
    ----------
    runs, fit : Runs, FleetFit
        Heat sink runs and their wear.
    brake_type : str
        The type that something is claimed of.
    against : str
        The type that a ratio is to; "" with a claim in landings.
    landings : float, optional
        Claimed mean braked landings per heat sink run, above 0.
    ratio : float, optional
        Claimed ratio of them to the other type's, above 0.

    Returns
    -------
    Claim
        By wear: runs that last on count as much as those that are over.

    Raises
    ------
    BadAssumptionError
        Unless exactly one of landings and ratio is given, above 0, a ratio with another type and landings without.
    NotEnoughDataError
        If a type has no run that tells its wear and its limit.
    """
    claim = _claimed(brake_type, against, landings, ratio)
    rates = [own_rates(runs, fit, name) for name in (brake_type, against) if name]
    life = mean_life(rates)
    verdict = by_zone(life, claim)
    flown = float(rates[0]["landings"].sum())
    more = More(0.0, 0) if verdict != OPEN else _more(rates, life, claim)
    return Claim(
        claim=claim,
        estimate=life.quantile(0.5),
        low=life.quantile(0.1),
        high=life.quantile(0.9),
        chance_claim_holds=life.chance_above(claim),
        verdict=verdict,
        landings_to_settle=more.landings,
        kind="landings" if ratio is None else "ratio",
        brake_type=brake_type,
        against=against,
        verdict_any_time=at_any_time(life, claim),
        aircraft_to_settle=more.aircraft,
        zone=ZONE,
        error=ERROR,
        aircraft=life.aircraft,
        runs=life.runs,
        landings=flown,
        between_aircraft=life.between_aircraft,
        between_runs=life.between_runs,
        warnings=(*_out_of_reach(more, flown, life, claim), *_warnings(rates, [brake_type, against])),
    )


def claim_curve(runs: Runs, fit: FleetFit, claim: Claim) -> tuple[CurvePoint, ...]:
    """
    The chance of each figure, not of the claimed one alone.

    Parameters
    ----------
    runs, fit : Runs, FleetFit
        What the claim was held against.
    claim : Claim
        From `check_claim`.

    Returns
    -------
    tuple of CurvePoint
        From near certainty to hardly any, the claim among them.
    """
    life = mean_life([own_rates(runs, fit, name) for name in (claim.brake_type, claim.against) if name])
    ends = (life.quantile(0.001), life.quantile(0.999), claim.claim * 0.97, claim.claim * 1.03)
    figures = np.linspace(min(ends), max(ends), CURVE_POINTS).tolist()
    return tuple(CurvePoint(each, life.chance_above(each)) for each in figures)


def _claimed(brake_type: str, against: str, landings: float | None, ratio: float | None) -> float:
    if (landings is None) == (ratio is None):
        raise BadAssumptionError("a claim is either in landings or a ratio; exactly one of the two is wanted")
    claim = landings if ratio is None else ratio
    if claim is None or not (np.isfinite(claim) and claim > 0):
        raise BadAssumptionError(f"the claimed figure is {claim}; a number above 0 is wanted")
    if (ratio is None) == bool(against):
        raise BadAssumptionError(
            "a ratio is claimed against another brake type, a life in landings against none"
        )
    if against == brake_type:
        raise BadAssumptionError(f"{brake_type} is held against itself; two brake types are wanted")
    return float(claim)


@dataclass(frozen=True)
class More:
    """What is still wanted; None where it is out of reach."""

    landings: float | None
    aircraft: int | None


def _more(rates: Sequence[pd.DataFrame], life: MeanLife, claim: float) -> More:
    """Landings on the present aircraft until the test is expected to stop; on further ones, where those cannot do."""
    flown = float(rates[0]["landings"].sum())
    wanted = _sd_that_settles(np.log(life.quantile(0.5)), claim)
    if sd_when(rates, life, TIMES_MAX) <= wanted:
        low, high = 1.0, TIMES_MAX
        while high / low > 1 + 1e-4:
            middle = float(np.sqrt(low * high))
            low, high = (middle, high) if sd_when(rates, life, middle) > wanted else (low, middle)
        return More(float(np.ceil((high - 1) * flown)), 0)
    now = max(sd_when(rates, life, 1.0), life.log_sd)
    if now > wanted * np.sqrt(TIMES_MAX):
        return More(None, None)
    aircraft = max(int(np.ceil(life.aircraft * ((now / wanted) ** 2 - 1))), 1)
    return More(float(np.ceil(aircraft * flown / life.aircraft)), aircraft)


def _sd_that_settles(log_estimate: float, claim: float) -> float:
    """The widest posterior about the present estimate that gives a verdict."""
    low, high = SD_LEAST, 1.0
    while high / low > 1 + 1e-3:
        middle = float(np.sqrt(low * high))
        one = MeanLife(np.ones(1), np.array([log_estimate]), np.array([middle]), 0.0, 0.0, 0, 0)
        low, high = (low, middle) if by_zone(one, claim) == OPEN else (middle, high)
    return low


def _out_of_reach(more: More, flown: float, life: MeanLife, claim: float) -> Iterator[str]:
    """Say why where more landings are wanted than anybody would plan for; within the zone neither verdict is wrong."""
    if more.landings is not None and more.landings <= TIMES_WORTH_PLANNING * flown:
        return
    times = f"{TIMES_WORTH_PLANNING:.0f} times the landings on record"
    if abs(np.log(life.quantile(0.5) / claim)) < np.log1p(ZONE):
        yield f"the claim is so near the estimate that either verdict would be right; more than {times} to settle it"
    else:
        yield f"more than {times} are wanted to settle it: too little is on record"


def _warnings(rates: Sequence[pd.DataFrame], names: Sequence[str]) -> tuple[str, ...]:
    told = []
    for one, name in zip(rates, names, strict=False):
        count = one["aircraft"].nunique()
        if count < FEW_AIRCRAFT:
            told.append(f"{name} flew on {count} aircraft: how much aircraft differ is hardly measured")
    if len(rates) == 1:
        told.append("as flown: bases and positions are in it; not what another base or position would see")
    else:
        told.append("as flown: bases and positions are not held equal here; like for like stands under cost")
        if not set(rates[0]["aircraft"]) & set(rates[1]["aircraft"]):
            told.append("no aircraft has carried both types: what differs between them may be their aircraft")
    return tuple(told)
