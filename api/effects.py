"""What would follow if an assumption or a wear limit that waits were approved: results without it and with it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from sqlalchemy import Engine

from api.moved import Moves, moves_between
from api.pages.pairs import pairs_of
from api.studies import ask
from db.errors import LedgerError
from db.lookup import known_by
from db.observe import observe, observe_assumptions
from db.session import Session, reading
from lifecycle import study as chain
from lifecycle.errors import LifecycleError
from lifecycle.study import Study

MONTHS: Final = 24


@dataclass(frozen=True)
class Effect:
    """
    One result without and with what waits; None where it cannot be given, and `why_not`.

    `low` and `high` are its 80 % range, by which both are rounded; None where it has none.
    """

    what: str
    unit: str
    before: float | None
    after: float | None
    why_not: str = ""
    low: float | None = None
    high: float | None = None

    @property
    def moved(self) -> bool:
        """Whether it makes a difference, beyond what is left of a sum of floats."""
        if self.before is None or self.after is None:
            return self.before is not self.after
        return abs(self.after - self.before) > 1e-9 * max(abs(self.before), abs(self.after))


@dataclass(frozen=True)
class Effects:
    """Results of the study of this number that move, and forecasts that do; `why_not` where there is no study."""

    study: str = ""
    results: tuple[Effect, ...] = ()
    moves: Moves = field(default_factory=Moves)
    why_not: str = ""

    @property
    def moved(self) -> tuple[Effect, ...]:
        """Results that do not stay as they are."""
        return tuple(each for each in self.results if each.moved)


def effects_of(engine: Engine, kind: str, version: int, *, seed: int) -> Effects:
    """
    Compare the study of the last day on record with the same one in which a version that waits is approved.

    For an assumption cost per landing, net present value and shortages; for a wear limit the forecasts.
    """
    try:
        study = ask(engine, on=None, known_on=None, seed=seed)
        if kind == "assumptions":
            return Effects(study.number, _of_assumption(engine, study, version))
        return Effects(study.number, moves=_of_limit(engine, study, version))
    except (LedgerError, LifecycleError) as error:
        return Effects(why_not=str(error))


def _of_assumption(engine: Engine, study: Study, version: int) -> tuple[Effect, ...]:
    with Session(reading(engine)) as session:
        known = known_by(session, study.known_on)
        items = observe_assumptions(session, on=study.on, known=known, as_if_approved=(version,))
    return tuple(_compared(study, replace(study, assumptions=items)))


def _of_limit(engine: Engine, study: Study, version: int) -> Moves:
    with Session(reading(engine)) as session:
        known = known_by(session, study.known_on)
        records = observe(session, on=study.on, known=known, as_if_approved=(version,))
    after = chain.open_study(
        records, study.assumptions, on=study.on, known_on=study.known_on, seed=study.seed
    )
    return moves_between(study, after)


def _compared(before: Study, after: Study) -> Iterator[Effect]:
    for read in (_costs, _values, _short):
        one, why = _told(read, before)
        other, why_after = _told(read, after)
        for named in dict.fromkeys((*one, *other)):
            without, along = one.get(named, NOTHING), other.get(named, NOTHING)
            told = along if without.value is None else without
            yield Effect(*named, without.value, along.value, why_after or why, told.low, told.high)


@dataclass(frozen=True)
class Result:
    """One result with its 80 % range; None where there is none."""

    value: float | None
    low: float | None = None
    high: float | None = None


NOTHING: Final = Result(None)
Read = dict[tuple[str, str], Result]


def _told(read: Callable[[Study], Read], study: Study) -> tuple[Read, str]:
    try:
        return read(study), ""
    except LifecycleError as error:
        return {}, str(error)


def _costs(study: Study) -> Read:
    cost = chain.cost(study)
    return {
        (f"cost per landing of {each.brake_type}", cost.currency): Result(
            each.cost_per_landing, each.low, each.high
        )
        for each in cost.types
    }


def _values(study: Study) -> Read:
    found = {}
    for pair in pairs_of(study.runs, study.assumptions):
        if pair.priced:
            brief = chain.briefing(study, from_type=pair.from_type, to_type=pair.to_type)
            what = f"net present value of {pair.to_type} for {pair.from_type}"
            found[what, brief.currency] = Result(brief.npv, brief.npv_p10, brief.npv_p90)
    return found


def _short(study: Study) -> Read:
    months = chain.spares(study, months=MONTHS)
    short = [each.short for each in months if each.short is not None]
    return {("brakes short, worst month of any base", "brakes"): Result(max(short))} if short else {}
