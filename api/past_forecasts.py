"""Past forecasts held against what came: the studies of past days opened again, and the kept ones read back."""

import datetime as dt
import json
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from pydantic import TypeAdapter
from sqlalchemy import Engine

from api.output import plain
from api.spared import spared
from db.lookup import Known, known_by
from db.observe import observe
from db.records.scores import KeptScore
from db.scores import keep_score, kept_score, last_score
from db.session import Session, reading
from db.studies import KeptDay, kept_days, kept_results
from lifecycle.backtest import NOMINAL, Score, Then, backtest, origins_for
from lifecycle.issued import Issued, IssuedScore, score_issued
from lifecycle.issued_looks import NO_LOOKS, IssuedLook, LooksScore, score_issued_looks
from lifecycle.issued_spares import NO_SPARES, IssuedSpares, SparesScore, score_issued_spares
from lifecycle.observations import Records
from lifecycle.study import Study, open_study

ORIGINS: Final = 4
# A forecast of an older day than this, when it was first shown, is a look back and no forecast.
SHOWN_WITHIN: Final = dt.timedelta(days=31)
# Days of shown forecasts that one score reads.
MOST_DAYS: Final = 120
SCORE: Final = TypeAdapter(Score)


@dataclass(frozen=True)
class Shown:
    """
    What is known of past forecasts without making any again: those shown, and the last score that was kept.

    `score` is None where none was kept yet; `number` and `on` are those of the study it was made for, `own` whether
    that is the study asked about.
    """

    issued: IssuedScore
    spares: SparesScore = NO_SPARES
    looks: LooksScore = NO_LOOKS
    score: Score | None = None
    number: str = ""
    on: dt.date | None = None
    own: bool = False

    def beside(self, made: Score) -> Score:
        """A score of forecasts made again, and of those that were shown."""
        return replace(made, issued=self.issued, issued_spares=self.spares, issued_looks=self.looks)


def score_of(engine: Engine, study: Study, origins: int = ORIGINS) -> Score:
    """Forecasts made again from so many past days, and those that were shown, against what is known in this study."""
    with Session(reading(engine)) as session:
        point = known_by(session, study.known_on)
        kept = kept_score(session, study.number, origins) if study.number else None
        shown = _scored_as_shown(session, study, point.seq)
        if kept is not None:
            return shown.beside(_read(kept))
        made = backtest(
            study, origins_for(study, origins), lambda origin: _opened(session, origin, point, study)
        )
    if study.number:
        with spared("score not kept"), Session(engine) as session:
            keep_score(session, _packed(made, study, origins, point.seq))
            session.commit()
    return shown.beside(made)


def shown_score(engine: Engine, study: Study) -> Shown:
    """The score as far as it costs no study: forecasts shown are scored, those made again are read where kept."""
    with Session(reading(engine)) as session:
        seq = known_by(session, study.known_on).seq
        shown = _scored_as_shown(session, study, seq)
        kept = last_score(session, study.number, on=study.on, seq=seq)
        if kept is None:
            return shown
        score, own = shown.beside(_read(kept)), kept.number == study.number
        return replace(shown, score=score, number=kept.number, on=kept.on, own=own)


def _scored_as_shown(session: Session, study: Study, seq: int) -> Shown:
    before = _shown_before(session, study, seq)
    return Shown(
        score_issued(study, before.changeouts),
        score_issued_spares(study, before.spares),
        score_issued_looks(study, before.looks),
    )


def _packed(made: Score, study: Study, origins: int, seq: int) -> KeptScore:
    body = json.dumps(plain(made), sort_keys=True, separators=(",", ":"), allow_nan=False)
    return KeptScore(
        number=study.number,
        past_days=origins,
        on=study.on,
        known_seq=seq,
        kept_at=dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
        result=zlib.compress(body.encode()),
    )


def _read(kept: KeptScore) -> Score:
    return SCORE.validate_json(zlib.decompress(kept.result))


def _opened(session: Session, origin: dt.date, now: Known, study: Study) -> Then:
    """With what was known on the day; a history brought in later and undated is taken as known when it took effect."""
    records = observe(session, on=origin, known=Known(now.seq, origin))
    as_known = _tells_wear(records)
    if not as_known:
        records = observe(session, on=origin, known=now)
    then = open_study(records, study.assumptions, on=origin, known_on=origin, seed=study.seed)
    return Then(then, as_known=as_known)


def _tells_wear(records: Records) -> bool:
    needed = (records.pin_readings, records.installations, records.landings, records.wear_limits)
    return not any(frame.empty for frame in needed)


@dataclass(frozen=True)
class _ShownBefore:
    """What studies kept on past days had shown."""

    changeouts: list[Issued] = field(default_factory=list)
    spares: list[IssuedSpares] = field(default_factory=list)
    looks: list[IssuedLook] = field(default_factory=list)


def _shown_before(session: Session, study: Study, seq: int) -> _ShownBefore:
    """Of each past day the study kept last, of evenly chosen days where there are many."""
    before = _ShownBefore()
    for number, on, told in _told(session, study, seq):
        before.changeouts.extend(_changeouts(number, on, told))
        before.spares.extend(_spares(on, told))
        before.looks.extend(_looks(on, told))
    return before


def _changeouts(number: str, on: dt.date, told: dict[str, Any]) -> Iterator[Issued]:
    for row in told["changeouts"]:
        days = [row[name] for name in ("date_p10", "date_p50", "date_p90")]
        if row["kind"] != "observed" and None not in days:
            yield Issued(number, on, row["serial"], row["brake_type"], *map(dt.date.fromisoformat, days))


def _spares(on: dt.date, told: dict[str, Any]) -> Iterator[IssuedSpares]:
    """Spares shown; studies kept before these were have none, nor latest days for a reading."""
    for row in told.get("spares", ()):
        month = dt.date.fromisoformat(row["month"])
        yield IssuedSpares(on, row["base"], row["brake_type"], month, row["p50"], row["p90"])


def _looks(on: dt.date, told: dict[str, Any]) -> Iterator[IssuedLook]:
    for row in told.get("readings", ()):
        if row["latest_on"] is not None:
            latest_on = dt.date.fromisoformat(row["latest_on"])
            yield IssuedLook(on, row["serial"], row["brake_type"], row["level"], latest_on)


def _told(session: Session, study: Study, seq: int) -> Iterator[tuple[str, dt.date, dict[str, Any]]]:
    """The studies that past forecasts are read from, each with its day and what it showed."""
    for number, on in _chosen(kept_days(session, seq, before=study.on)):
        yield number, on, json.loads(zlib.decompress(kept_results(session, number)))


def _chosen(kept: Sequence[KeptDay]) -> list[tuple[str, dt.date]]:
    """Of each day the study kept last; a look back at a day long past was no forecast when it was shown."""
    last = {
        each.on: each.number
        for each in kept
        if dt.datetime.fromisoformat(each.kept_at).date() - each.on <= SHOWN_WITHIN
    }
    days = sorted(last)
    step = -(-len(days) // MOST_DAYS) or 1
    return [(last[day], day) for day in days[::step]]


@dataclass(frozen=True)
class ScoreLine:
    """One kind of forecast in a table: the smaller the score (CRPS) the better; bias is forecast less fact."""

    forecast: str
    unit: str
    outcomes: int
    inside: int
    expected_inside: float
    coverage_80: float | None
    crps: float | None
    crps_average_life: float | None
    crps_straight_line: float | None
    bias: float | None


def lines_of(shown: IssuedScore, found: Score | None) -> tuple[ScoreLine, ...]:
    """Change-outs and next readings made again, and change-outs as shown, a line each."""
    lines: list[
        tuple[str, str, int, int, float | None, float | None, float | None, float | None, float | None]
    ]
    lines = [("change-outs as shown", "days", shown.outcomes, shown.inside, shown.coverage_80, None, None, None,
              shown.bias_days)]  # fmt: skip
    if found is not None:
        read = found.next_reading
        lines += [
            ("change-outs", "landings", found.outcomes, found.inside, found.coverage_80, found.crps,
             found.crps_average_life, found.crps_straight_line, found.bias_landings),
            ("next readings", "mm", read.outcomes, read.inside, read.coverage_80, read.crps_mm,
             read.crps_average_life_mm, read.crps_straight_line_mm, read.bias_mm),
        ]  # fmt: skip
    return tuple(ScoreLine(*line[:4], round(NOMINAL * line[2], 1), *line[4:]) for line in lines)
