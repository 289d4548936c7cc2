"""What a correction moved: the forecasts before and after it, brake by brake."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Engine

from api.studies import ask, at_hand
from db.errors import LedgerError
from lifecycle.errors import LifecycleError
from lifecycle.forecast import ChangeOut
from lifecycle.study import Study, changeouts

# Less than this is what a new fit does to every brake; it is no news to anybody.
LANDINGS_TOLD = 0.5


@dataclass(frozen=True)
class Moved:
    """
    One brake whose middle forecast moved; None where there was or is no forecast.

    `landings_low` and `landings_high` are P10 and P90 of the forecast after, else before: landings are rounded by them.
    """

    serial: str
    brake_type: str
    registration: str
    position: str
    landings_before: float | None
    landings_after: float | None
    date_before: dt.date | None
    date_after: dt.date | None
    landings_low: float | None = None
    landings_high: float | None = None

    @property
    def landings(self) -> float | None:
        """Landings by which the middle moved."""
        if self.landings_before is None or self.landings_after is None:
            return None
        return self.landings_after - self.landings_before

    @property
    def days(self) -> int | None:
        """Days by which the middle moved."""
        if self.date_before is None or self.date_after is None:
            return None
        return (self.date_after - self.date_before).days


@dataclass(frozen=True)
class Moves:
    """
    The two studies compared, and every brake that moved, the furthest first.

    `why_not` where none could be made; `waits` where they would have to be made first.
    """

    before: str = ""
    after: str = ""
    brakes: tuple[Moved, ...] = ()
    why_not: str = ""
    waits: bool = False


def moves(engine: Engine, *, before_seq: int, seq: int, seed: int, make: bool = True) -> Moves:
    """
    Compare the forecasts without and with the changes after one sequence number, up to another, from one day.

    Where studies are not to be made, only those held already are compared.
    """
    find = ask if make else at_hand
    try:
        after = find(engine, on=None, known_on=None, seed=seed, known_seq=seq)
        before = after and find(engine, on=after.on, known_on=None, seed=seed, known_seq=before_seq)
    except (LedgerError, LifecycleError) as error:
        return Moves(why_not=str(error))
    return moves_between(before, after) if before and after else Moves(waits=True)


def moves_between(before: Study, after: Study) -> Moves:
    """Every brake whose middle forecast differs between two studies."""
    try:
        one, other = (_by_place(changeouts(study)) for study in (before, after))
    except LifecycleError as error:
        return Moves(why_not=str(error))
    found = [_moved(place, one.get(place), other.get(place)) for place in dict.fromkeys((*one, *other))]
    told = [each for each in found if _is_told(each)]
    told.sort(key=lambda each: (each.landings is not None, -abs(each.landings or 0.0), each.serial))
    return Moves(before.number, after.number, tuple(told))


Place = tuple[str, str, str, str]


def _by_place(forecasts: Sequence[ChangeOut]) -> dict[Place, ChangeOut]:
    return {(each.serial, each.brake_type, each.registration, each.position): each for each in forecasts}


def _moved(place: Place, one: ChangeOut | None, other: ChangeOut | None) -> Moved:
    ranged = next((each for each in (other, one) if each and each.landings_p50 is not None), None)
    return Moved(
        *place,
        landings_before=one.landings_p50 if one else None,
        landings_after=other.landings_p50 if other else None,
        date_before=one.date_p50 if one else None,
        date_after=other.date_p50 if other else None,
        landings_low=ranged.landings_p10 if ranged else None,
        landings_high=ranged.landings_p90 if ranged else None,
    )


def _is_told(each: Moved) -> bool:
    if each.landings is None:
        return (each.landings_before is None) != (each.landings_after is None)
    return abs(each.landings) >= LANDINGS_TOLD
