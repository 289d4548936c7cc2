"""A retrofit put as a question: uses of both brake types on the same aircraft, and how surely their wear is known."""

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from lifecycle.assumptions import AssumptionSet, currency_of
from lifecycle.consumption import consumption, flight_hours_per_landing
from lifecycle.cost import FACTORS, wear_range
from lifecycle.drivers import WEAR, WEAR_RATIO, Input
from lifecycle.elements import Use
from lifecycle.errors import NotEnoughDataError
from lifecycle.exposure import Runs
from lifecycle.likeforlike import LikeForLike, like_for_like
from lifecycle.observations import Records
from lifecycle.uses import facts_of, uses_of
from lifecycle.wear import FleetFit, TypeFit


@dataclass(frozen=True)
class Comparison:
    """
    Both brake types on the aircraft concerned.

    ``measured`` are the two wear inputs; ``runs`` heat sink runs behind each type's rate, legacy first; ``warnings``
    what a reader should know; ``compared`` whether the ratio is like for like.
    """

    legacy: tuple[Use, ...]
    proposed: tuple[Use, ...]
    measured: tuple[Input, ...]
    runs: tuple[int, int]
    compared: bool
    warnings: tuple[str, ...]

    @property
    def life(self) -> float:
        """Landings per heat sink life of the proposed type."""
        return 1.0 / sum(use.weight * float(np.asarray(use.runs_used)) for use in self.proposed)


def compare(  # noqa: PLR0913 (the chain hands over what it has)
    runs: Runs,
    fit: FleetFit,
    records: Records,
    assumptions: AssumptionSet,
    *,
    aircraft: pd.Series,
    from_type: str,
    to_type: str,
    on: dt.date,
) -> Comparison:
    """
    Uses of the legacy type on its aircraft, and of the proposed type on the same landings.

    Parameters
    ----------
    runs, fit, records, assumptions
        The chain's inputs.
    aircraft : Series of int
        Aircraft that would be converted.
    from_type, to_type : str
        Legacy and proposed brake type.
    on : date
        The day of the study.

    Returns
    -------
    Comparison
        The proposed type wears at the legacy type's rate on these aircraft times the like-for-like ratio; where types
        share no flying, at the ratio of the fitted mean rates, with a warning.

    Raises
    ------
    NotEnoughDataError
        If either type has no landings, or no wear limit, on record.

    Notes
    -----
    Spares are held on the same basis on both sides: what covers the brakes in the shop, where shop_turnaround_days is
    known, else the count of the legacy type.
    """
    flown = consumption(runs, fit, records, on=on)
    old, new = (_rows(flown, kind) for kind in (from_type, to_type))
    here = old[old["aircraft"].isin(aircraft)]
    here = old if here.empty else here
    currency = currency_of(assumptions.items)
    facts = {
        kind: facts_of(kind, rows, runs, records, currency=currency)
        for kind, rows in ((from_type, old), (to_type, new))
    }
    legacy = uses_of(from_type, here, facts[from_type], flight_hours_per_landing(records))
    wear = like_for_like(flown, reference=from_type, other=to_type, factors=FACTORS)
    fits = {one.brake_type: one for one in fit.types}
    ratio = _ratio_input(wear, fits, from_type, to_type)
    usable = [float(rows["wear_mm"].sum() / rows["runs_used"].sum()) for rows in (old, new)]
    turnaround = assumptions.find("shop_turnaround_days", brake_type=to_type) is not None
    spare_years = None if turnaround else facts[from_type].spare_years
    proposed = tuple(
        replace(
            use,
            brake_type=to_type,
            runs_used=use.runs_used * ratio.value * usable[0] / usable[1],
            unscheduled=facts[to_type].unscheduled,
            repairs=facts[to_type].repairs,
            mass_kg=facts[to_type].mass_kg,
            refurbished=facts[to_type].refurbished,
            spare_years=spare_years,
            by_the_hour=_mostly_by_the_hour(new),
        )
        for use in legacy
    )
    warnings = [*facts[from_type].warnings, *facts[to_type].warnings, *wear.warnings]
    if wear.ratio is None:
        warnings.append(
            f"wear of {to_type} over {from_type} is taken from their mean rates, not like for like"
        )
    return Comparison(
        legacy=tuple(replace(use, spare_years=spare_years) for use in legacy),
        proposed=proposed,
        measured=(_wear_input(here, fits.get(from_type), from_type), ratio),
        runs=(fits[from_type].runs, fits[to_type].runs),
        compared=wear.ratio is not None,
        warnings=tuple(warnings),
    )


def _rows(flown: pd.DataFrame, brake_type: str) -> pd.DataFrame:
    own = flown[flown["brake_type"] == brake_type]
    if own.empty:
        raise NotEnoughDataError(
            f"no braked landings on {brake_type} on record; a brief needs some of both types, of a trial at least"
        )
    if not own["runs_used"].sum() > 0:
        raise NotEnoughDataError(f"wear of {brake_type} against its limit is not known; enter its wear limit")
    return own


def _mostly_by_the_hour(rows: pd.DataFrame) -> bool:
    return bool(rows.loc[rows["by_the_hour"], "landings"].sum() > rows["landings"].sum() / 2)


def _wear_input(here: pd.DataFrame, fit: TypeFit | None, from_type: str) -> Input:
    low, high = wear_range(here, fit)
    rate = float(here["wear_mm"].sum() / here["landings"].sum())
    return Input(f"wear of {from_type}, mm per landing", rate, rate * low, rate * high, part=WEAR)


def _ratio_input(wear: LikeForLike, fits: dict[str, TypeFit], from_type: str, to_type: str) -> Input:
    old, new = fits[from_type], fits[to_type]
    ratio = wear.ratio or new.rate_mm_per_landing / old.rate_mm_per_landing
    low = wear.low or ratio * new.rate_low / new.rate_mm_per_landing
    high = wear.high or ratio * new.rate_high / new.rate_mm_per_landing
    return Input(f"wear of {to_type} over {from_type}", ratio, low, high, part=WEAR_RATIO)
