"""Editions of the retrofit brief: freezing what was shown, and what moved since."""

import threading
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from api import words
from api.output import plain
from api.shown_brief import brief_of, read_again
from api.studies import ask
from db.chain import Act
from db.editions import Edition, editions, shown_in
from db.entry.editions import Freezing, freeze_edition
from db.errors import LedgerError
from db.lookup import known_by
from db.session import reading
from db.studies import kept_study
from lifecycle import study as chain
from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.errors import LifecycleError
from lifecycle.retrofit import Briefing
from lifecycle.study import Study

MOST_INPUTS: Final = 6
# A brief of today's records takes as long as drawing its page does; a few are held.
HELD_BRIEFS: Final = 32
_held: OrderedDict[tuple[str, ...], Briefing] = OrderedDict()
_lock = threading.Lock()


@dataclass(frozen=True)
class Told:
    """What a brief says in few figures."""

    recommendation: str
    npv: float
    payback_years_p50: float | None
    chance_by_retirement: float
    currency: str
    aircraft: int


@dataclass(frozen=True)
class Input:
    """An assumption that is not what it was: `then` or `now` is empty where it did not count."""

    name: str
    then: str
    now: str


@dataclass(frozen=True)
class Moved:
    """
    An edition beside the same question asked of today's records.

    `now` is None where they give no answer (`refused` says why). Of the move of the net present value, `by_records` is
    what records and the day bring at the edition's own assumptions, `by_assumptions` the rest; None where not known.
    """

    edition: Edition
    then: Told
    now: Told | None
    changed: bool
    by_records: float | None
    by_assumptions: float | None
    inputs: tuple[Input, ...]
    entries_since: int
    refused: str = ""


def study_shown(engine: Engine, number: str) -> Study:
    """The study of this number as it was shown; refused where it is not kept."""
    with Session(reading(engine)) as session:
        kept = kept_study(session, number)
    if kept is None:
        raise LedgerError(f"no study {number!r} is kept; open the brief again, then freeze what it shows")
    return ask(engine, on=kept.on, known_on=kept.known_on, seed=kept.seed, known_seq=kept.known_seq)


def frozen_of(study: Study, from_type: str, to_type: str, title: str) -> Freezing:
    """All that an edition keeps of a brief."""
    shown = brief_of(study, from_type, to_type)
    return Freezing(
        title=title,
        from_type=from_type,
        to_type=to_type,
        study=study.number,
        forecast_on=study.on,
        records_known_on=study.known_on,
        records_head=study.ledger_head,
        seed=study.seed,
        shown=plain(shown),
    )


def freeze(session: Session, asked: Freezing, *, person: str, source: str) -> int:
    """Keep it; return the edition's number."""
    return freeze_edition(session, Act(person, source, "freeze an edition"), asked)


def moved_of(engine: Engine, study: Study, *, withdrawn: bool = False) -> list[Moved]:
    """Each edition that stands beside what this study says, the latest first; withdrawn ones too where asked for."""
    with Session(reading(engine)) as session:
        seq = known_by(session).seq
        found = [
            (each, read_again(shown_in(session, each.number)).briefing)
            for each in editions(session)
            if withdrawn or not each.withdrawn_by
        ]
    return [_moved(str(engine.url), study, each, then, seq) for each, then in found]


def _moved(ledger: str, study: Study, edition: Edition, then: Briefing, seq: int) -> Moved:
    before = told_of(then)
    beside = Moved(
        edition,
        before,
        None,
        changed=False,
        by_records=None,
        by_assumptions=None,
        inputs=(),
        entries_since=seq - edition.seq,
    )
    try:
        now = _briefing(ledger, study, edition)
    except LifecycleError as error:
        return replace(beside, changed=True, refused=str(error))
    inputs = tuple(_inputs(then.assumptions, now.assumptions))
    by_records = by_assumptions = None
    if then.currency == now.currency:
        as_then: float | None = now.npv
        if inputs:
            as_then = _npv_as_then(ledger, study, edition, then.assumptions)
        if as_then is not None:
            by_records, by_assumptions = as_then - then.npv, now.npv - as_then
    after = told_of(now)
    return replace(
        beside,
        now=after,
        changed=_differs(before, after),
        by_records=by_records,
        by_assumptions=by_assumptions,
        inputs=inputs,
    )


def told_of(briefing: Briefing) -> Told:
    """What a brief says in few figures."""
    return Told(
        recommendation=briefing.recommendation,
        npv=briefing.npv,
        payback_years_p50=briefing.payback_years_p50,
        chance_by_retirement=briefing.chance_by_retirement,
        currency=briefing.currency,
        aircraft=briefing.aircraft,
    )


def _differs(then: Told, now: Told) -> bool:
    """Whether a reader would see another figure: as the pages round them."""
    return _seen(then) != _seen(now)


def _seen(told: Told) -> tuple[str, ...]:
    years = told.payback_years_p50
    payback = "never" if years is None else words.number(years, 1)
    return (told.recommendation, words.large_money(told.npv, told.currency), payback)


def _briefing(ledger: str, study: Study, edition: Edition, marked: str = "") -> Briefing:
    """The brief of an edition's question from this study; held, as several editions and pages ask the same."""
    place = (ledger, study.number, edition.from_type, edition.to_type, marked)
    with _lock:
        if place in _held:
            return _held[place]
    made = chain.briefing(study, from_type=edition.from_type, to_type=edition.to_type)
    with _lock:
        _held[place] = made
        while len(_held) > HELD_BRIEFS:
            _held.popitem(last=False)
    return made


def _npv_as_then(ledger: str, study: Study, edition: Edition, given: tuple[Assumption, ...]) -> float | None:
    """The net present value of today's records at the edition's own assumptions."""
    try:
        as_then = replace(study, assumptions=AssumptionSet(given))
        return _briefing(ledger, as_then, edition, str(edition.number)).npv
    except LifecycleError:
        return None


def _inputs(then: Iterable[Assumption], now: Iterable[Assumption]) -> Iterator[Input]:
    before, after = {_place(each): each for each in then}, {_place(each): each for each in now}
    for place in dict.fromkeys([*before, *after]):
        one, other = before.get(place), after.get(place)
        if _value(one) != _value(other):
            name = ", ".join((words.name_in_words(place[0]), *filter(None, place[1:])))
            yield Input(name, _value(one), _value(other))


def _place(each: Assumption) -> tuple[str, str, str, str]:
    return each.name, each.aircraft_type, each.brake_type, each.base


def _value(each: Assumption | None) -> str:
    if each is None:
        return ""
    between = (
        ""
        if each.low is None or each.high is None
        else f" ({words.exact(each.low)} to {words.exact(each.high)})"
    )
    unit = "" if each.unit == "1" else f" {each.unit}"
    return f"{words.exact(each.value)}{unit}{between}"


def answer(found: list[Moved]) -> str:
    """How many editions stand, and how many say something else today."""
    standing = [each for each in found if not each.edition.withdrawn_by]
    if not standing:
        return "No edition stands. Open a brief and freeze it, to keep what a decision was made on."
    told = f"{words.counted(len(standing), 'edition stands', 'editions stand')}; "
    turned = [
        each for each in standing if each.now is None or each.now.recommendation != each.then.recommendation
    ]
    moved = [each for each in standing if each.changed and each not in turned]
    if turned:
        told += (
            f"{words.counted(len(turned), 'of them would be', 'of them would be')} answered differently today"
        )
        return told + (f", {words.number(len(moved))} more moved." if moved else ".")
    if moved:
        return told + f"the answer is the same today, the figures of {words.number(len(moved))} moved."
    return told + "today's records give the same figures."
