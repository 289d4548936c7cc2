"""Forecasts against facts: how right past forecasts have been."""

from dataclasses import dataclass, replace
from typing import Annotated, Final

from fastapi import APIRouter, HTTPException, Query, Request, Response
from pydantic import BaseModel, Field

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.against_facts import tenths
from api.pages.brakes import record_link
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import AGAINST_FACTS
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.past_forecasts import ORIGINS, ScoreLine, Shown, lines_of, score_of, shown_score
from api.tables import AskedForm, download
from lifecycle.backtest import NOMINAL, Miss, Score
from lifecycle.issued import IssuedMiss
from lifecycle.study import Study

router = APIRouter(dependencies=[need("fleet.read")])

BEHIND: Final = ("pin_readings", "installations", "landings", "wear_limits", "reshims")


@dataclass(frozen=True)
class MissLine:
    """One change-out outside its range, and the record of its brake."""

    miss: Miss
    record: str


@dataclass(frozen=True)
class ShownMissLine:
    """One forecast as shown outside whose range the limit came, and the record of its brake."""

    miss: IssuedMiss
    record: str


class Asked(BaseModel):
    """From how many past days to forecast again; none: only what costs no study is shown."""

    again: int | None = Field(default=None, ge=1, le=60)


AskedQuery = Annotated[Asked, Query()]


@dataclass(frozen=True)
class AgainstFactsPage:
    """What against_facts.html receives; `score` is None where forecasts were not made again yet."""

    frame: Frame
    answer: str
    more: tuple[str, ...]
    shown: Shown
    lines: tuple[ScoreLine, ...]
    misses: tuple[MissLine, ...]
    shown_misses: tuple[ShownMissLine, ...]
    again: str
    origins: int
    charts: str
    origin: Origin


@router.get(AGAINST_FACTS.path)
def against_facts(request: Request, study: AskedStudy, form: AskedForm, asked: AskedQuery) -> Response:
    """The page, or the misses as a file."""
    found = _found(request, study, asked)
    if form:
        misses = found.score.misses if found.score else found.issued.misses
        return download(misses, name="forecast-misses", form=form, head=study.ledger_head)
    return render("against_facts.html", page_of(frame_of(request, AGAINST_FACTS, study), study, found))


@router.get(f"{AGAINST_FACTS.path}/figures.json")
def figures(request: Request, study: AskedStudy, asked: AskedQuery) -> Response:
    """Where the outcomes fell."""
    score = _found(request, study, asked).score
    if score is None:
        raise HTTPException(422, "forecasts have not been made again for these records; add again=4")
    return figures_answer({"changeouts": tenths(score.pit), "readings": tenths(score.next_reading.pit)})


def _found(request: Request, study: Study, asked: Asked) -> Shown:
    """Made again where that is asked, else what is kept."""
    engine = request.app.state.engine
    if asked.again is None:
        return shown_score(engine, study)
    score = score_of(engine, study, asked.again)
    shown = shown_score(engine, study)
    return replace(shown, issued=score.issued, score=score, number=study.number, on=study.on, own=True)


def page_of(frame: Frame, study: Study, found: Shown) -> AgainstFactsPage:
    """What the template shows of a score."""
    score = found.score
    return AgainstFactsPage(
        frame=frame,
        answer=answer(found),
        more=more(score) if score else (),
        shown=found,
        lines=tuple(each for each in lines_of(found.issued, score) if each.outcomes),
        misses=tuple(
            MissLine(each, record_link(frame, each.serial, each.brake_type))
            for each in (score.misses if score else ())
        ),
        shown_misses=tuple(
            ShownMissLine(each, record_link(frame, each.forecast.serial, each.forecast.brake_type))
            for each in found.issued.misses
        ),
        again=frame.link(again=str(ORIGINS)),
        origins=ORIGINS,
        charts=frame.link(f"{AGAINST_FACTS.path}/figures.json"),
        origin=origin_of(frame, study, "forecasts against facts", kinds=BEHIND),
    )


def answer(found: Shown) -> str:
    """How many outcomes fell inside, and how many should have; of forecasts as shown where there are some."""
    if found.issued.outcomes:
        return _inside(
            found.issued.inside, found.issued.outcomes, "change-out as shown", "change-outs as shown"
        )
    if found.score is None:
        return "No forecast shown here has run out yet, and none has been made again from past days for these records."
    read = found.score.next_reading
    if found.score.outcomes:
        return _inside(found.score.inside, found.score.outcomes, "change-out")
    if read.outcomes:
        return f"No change-out forecast has run out yet. {_inside(read.inside, read.outcomes, 'reading')}"
    return "No past forecast can be held against facts yet: the records are too young."


def _inside(inside: int, outcomes: int, what: str, many: str = "") -> str:
    expected = words.number(round(NOMINAL * outcomes))
    told = f"{words.number(inside)} of {words.counted(outcomes, what, many)}"
    return f"{told} fell inside the range of 8 in 10; {expected} expected."


def more(found: Score) -> tuple[str, ...]:
    """Outcomes of forecasts made again beside those shown, bias, the rivals, a sentence each."""
    told = []
    if found.issued.outcomes and found.outcomes:
        told.append(f"Made again from past days: {_inside(found.inside, found.outcomes, 'change-out')}")
    if found.outcomes and found.next_reading.outcomes:
        told.append(_inside(found.next_reading.inside, found.next_reading.outcomes, "next reading"))
    if found.bias_days is not None and found.bias_landings is not None:
        side = "sooner" if found.bias_landings > 0 else "later"
        away = f"{words.about(abs(found.bias_days))} days, {words.about(abs(found.bias_landings))} landings"
        told.append(f"On average brakes came due {side} than the middle of the forecast: by {away}.")
    if found.crps and found.crps_average_life is not None and found.crps_straight_line is not None:
        told.append(
            f"Score, the smaller the better: {words.about(found.crps)} landings, against "
            f"{words.about(found.crps_average_life)} by the type's average life and "
            f"{words.about(found.crps_straight_line)} by a straight line through the last readings."
        )
    return tuple(told)
