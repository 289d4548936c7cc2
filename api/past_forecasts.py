"""Past forecasts held against what came: the studies of past days opened again, and the kept ones read back."""

import datetime as dt
import json
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from sqlalchemy import Engine

from db.lookup import Known, known_by
from db.observe import observe
from db.records.log import KeptStudy
from db.session import Session, reading
from db.studies import all_kept
from lifecycle.backtest import NOMINAL, Score, Then, backtest, origins_for
from lifecycle.issued import Issued
from lifecycle.observations import Records
from lifecycle.study import Study, open_study

ORIGINS: Final = 4
# A forecast of an older day than this, when it was first shown, is a look back and no forecast.
SHOWN_WITHIN: Final = dt.timedelta(days=31)
# A score takes as long as its studies; a few are held so that the page, its chart and its file make it once.
HELD: Final = 4


def score_of(engine: Engine, study: Study, origins: int = ORIGINS) -> Score:
    """Forecasts made again from so many past days, and those that were shown, against what is known in this study."""
    return _made(engine, _Held(study), origins)


class _Held:
    """A study that is held by its number, since the same number is the same study."""

    def __init__(self, study: Study) -> None:
        self.study = study

    def __hash__(self) -> int:
        return hash(self.study.number)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Held) and self.study.number == other.study.number


@lru_cache(maxsize=HELD)
def _made(engine: Engine, held: _Held, origins: int) -> Score:
    study = held.study
    with Session(reading(engine)) as session:
        point = known_by(session, study.known_on)
        shown = list(_issued(all_kept(session, point.seq)))
        return backtest(
            study,
            origins_for(study, origins),
            lambda origin: _opened(session, origin, point, study),
            shown,
        )


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


def _issued(kept: Sequence[KeptStudy]) -> Iterator[Issued]:
    for each in kept:
        if dt.datetime.fromisoformat(each.kept_at).date() - each.on > SHOWN_WITHIN:
            continue
        for row in json.loads(zlib.decompress(each.results))["changeouts"]:
            days = [row[name] for name in ("date_p10", "date_p50", "date_p90")]
            if row["kind"] != "observed" and None not in days:
                yield Issued(
                    each.number, each.on, row["serial"], row["brake_type"], *map(dt.date.fromisoformat, days)
                )


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


def lines_of(found: Score) -> tuple[ScoreLine, ...]:
    """Change-outs, next readings and forecasts as shown, a line each."""
    read, shown = found.next_reading, found.issued
    lines = (
        ("change-outs", "landings", found.outcomes, found.inside, found.coverage_80, found.crps,
         found.crps_average_life, found.crps_straight_line, found.bias_landings),
        ("next readings", "mm", read.outcomes, read.inside, read.coverage_80, read.crps_mm,
         read.crps_average_life_mm, read.crps_straight_line_mm, read.bias_mm),
        ("change-outs as shown", "days", shown.outcomes, shown.inside, shown.coverage_80, None, None, None,
         shown.bias_days),
    )  # fmt: skip
    return tuple(ScoreLine(*line[:4], round(NOMINAL * line[2], 1), *line[4:]) for line in lines)
