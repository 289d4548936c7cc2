"""Observe, study, keep: the one way from the ledger to results."""

import datetime as dt
import hashlib
import json
import threading
import zlib
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sqlalchemy import Engine

from api.output import plain
from api.spared import spared
from api.words import day
from db.errors import LedgerError
from db.lookup import Known, known_by, log_began
from db.observe import last_effective_day, observe, observe_assumptions
from db.records.log import KeptStudy
from db.session import Session, hurried, reading
from db.studies import hash_at, keep, kept, seq_of
from db.wear_states import replace_wear_states
from lifecycle.expected import priors_of, states_of
from lifecycle.study import Study, changeouts, next_looks, open_study, refit, spares

# A study can always be made again from the ledger; a few are held so that the next page does not have to.
HELD_STUDIES: Final = 4
# What is kept of spares and of the latest days for a next reading, so that they can be scored as shown.
MONTHS_KEPT: Final = 6
SPARES_KEPT: Final = ("base", "brake_type", "month", "p50", "p90")
READINGS_KEPT: Final = ("serial", "brake_type", "level", "latest_on")
_held: OrderedDict[tuple[str, str], Study] = OrderedDict()
LAST_DAYS: Final = 64
_last_days: dict[tuple[str, str, Known], dt.date | None] = {}
_lock = threading.Lock()
_making = threading.Lock()


def ask(  # noqa: PLR0913 - one argument a word of the question
    engine: Engine,
    *,
    on: dt.date | None,
    known_on: dt.date | None,
    seed: int,
    known_seq: int | None = None,
    known_head: str = "",
) -> Study:
    """
    The study of these days; the same question on the same records has the same number and answer.

    What is known is that of a day, or up to a change: by its number, or by the head that it gave the log.
    """
    if known_head:
        with Session(reading(engine)) as session:
            known_seq = seq_of(session, known_head)
    asked = _asked(engine, on=on, known_on=known_on, seed=seed, known_seq=known_seq)
    if found := _held_study(asked.place):
        _hold(asked.place, found)
        return found
    # Many may ask the same at once, and one is made no slower than two beside each other.
    with _making:
        study = _held_study(asked.place) or _made(engine, asked, seed=seed)
        _hold(asked.place, study)
    return study


def at_hand(
    engine: Engine, *, on: dt.date | None, known_on: dt.date | None, seed: int, known_seq: int | None = None
) -> Study | None:
    """The study that `ask` would give where it is held here; None where it would have to be made."""
    return _held_study(_asked(engine, on=on, known_on=known_on, seed=seed, known_seq=known_seq).place)


@dataclass(frozen=True)
class _Asked:
    """A question in full: which records are known, from which day, and where its study is held."""

    known: Known
    on: dt.date
    head: str
    place: tuple[str, str]


def _asked(
    engine: Engine, *, on: dt.date | None, known_on: dt.date | None, seed: int, known_seq: int | None
) -> _Asked:
    with Session(reading(engine)) as session:
        known = known_by(session, known_on, seq=known_seq)
        head = hash_at(session, known.seq)
        last = on or _last_day(session, (str(engine.url), head, known))
        if last is None:
            raise LedgerError(_nothing_known(log_began(session), known_on))
    return _Asked(known, last, head, (str(engine.url), _number(head, last, known, seed)))


def _nothing_known(began: dt.date | None, known_on: dt.date | None) -> str:
    if began and known_on:
        told = f"no landings and no readings were known on {day(known_on)}; the log begins on {day(began)}"
        return f"{told}: ask for a later day, or leave the day empty for all that is known"
    return "the ledger holds no landings and no readings yet; import some records first"


def _last_day(session: Session, point: tuple[str, str, Known]) -> dt.date | None:
    """What was known at a point never changes, so its last day is looked up once."""
    last = _last_days.get(point) or last_effective_day(session, point[2])
    if len(_last_days) >= LAST_DAYS:
        _last_days.clear()
    _last_days[point] = last
    return last


def _made(engine: Engine, asked: _Asked, *, seed: int) -> Study:
    """Make a study, and keep it; the ledger is let go before the arithmetic, which would hold up writers."""
    known, on, number = asked.known, asked.on, asked.place[1]
    with Session(reading(engine)) as session:
        records = observe(session, on=on, known=known)
        assumed = observe_assumptions(session, on=on, known=known)
    study = open_study(
        records, assumed, on=on, known_on=known.day, seed=seed, number=number, ledger_head=asked.head
    )
    with spared("study not kept"):
        _keep(engine, study, known)
    return study


def before_the_log(engine: Engine, study: Study) -> str:
    """What a study rests on that asks of a day before the log's first; empty where it does not."""
    with Session(reading(engine)) as session:
        began = log_began(session)
    if began is None or study.known_on >= began:
        return ""
    return (
        f"the log begins on {day(began)}; of a day before it, this is what the records brought in say was written "
        "down by then, and it grows with what is brought in later"
    )


def _held_study(place: tuple[str, str]) -> Study | None:
    with _lock:
        return _held.get(place)


def _hold(place: tuple[str, str], study: Study) -> None:
    with _lock:
        _held[place] = study
        _held.move_to_end(place)
        while len(_held) > HELD_STUDIES:
            _held.popitem(last=False)


def _number(head: str, on: dt.date, known: Known, seed: int) -> str:
    """A study's number is a digest of all that it depends on, so that every process gives it the same one."""
    told = f"{head} {known.seq} {known.day} {on} {seed}"
    return "S-" + hashlib.sha256(told.encode()).hexdigest()[:10].upper()


def _keep(engine: Engine, study: Study, known: Known) -> None:
    """Keep the fit and the forecasts as shown; of the newest also what each pin is expected to show."""
    with Session(reading(engine)) as session:
        if kept(session, study.number):
            return
        newest = known == known_by(session) and study.on >= (last_effective_day(session, known) or study.on)
    shown = {
        "refit": plain(refit(study)),
        "changeouts": plain(changeouts(study)),
        "spares": [_told(each, SPARES_KEPT) for each in spares(study, months=MONTHS_KEPT)],
        "readings": [_told(each, READINGS_KEPT) for each in next_looks(study)],
    }
    packed = zlib.compress(json.dumps(shown, sort_keys=True, separators=(",", ":")).encode())
    with Session(hurried(engine)) as session:
        keep(
            session,
            KeptStudy(
                number=study.number,
                on=study.on,
                known_on=study.known_on,
                known_seq=known.seq,
                seed=study.seed,
                kept_at=dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
                results=packed,
            ),
        )
        if newest:
            replace_wear_states(session, study.number, states_of(study.runs, study.fit), priors_of(study.fit))
        session.commit()


def _told(result: object, names: Sequence[str]) -> dict[str, object]:
    return {name: plain(getattr(result, name)) for name in names}
