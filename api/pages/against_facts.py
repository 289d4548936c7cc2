"""Forecasts against facts: how right past forecasts have been."""

from dataclasses import dataclass
from typing import Final

from fastapi import APIRouter, Request, Response

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.against_facts import tenths
from api.pages.brakes import record_link
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import AGAINST_FACTS
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.past_forecasts import ScoreLine, lines_of, score_of
from api.tables import AskedForm, download
from lifecycle.backtest import NOMINAL, Miss, Score
from lifecycle.study import Study

router = APIRouter(dependencies=[need("fleet.read")])

BEHIND: Final = ("pin_readings", "installations", "landings", "wear_limits", "reshims")


@dataclass(frozen=True)
class MissLine:
    """One change-out outside its range, and the record of its brake."""

    miss: Miss
    record: str


@dataclass(frozen=True)
class AgainstFactsPage:
    """What against_facts.html receives."""

    frame: Frame
    answer: str
    more: tuple[str, ...]
    score: Score
    lines: tuple[ScoreLine, ...]
    misses: tuple[MissLine, ...]
    charts: str
    origin: Origin


@router.get(AGAINST_FACTS.path)
def against_facts(request: Request, study: AskedStudy, form: AskedForm) -> Response:
    """The page, or the misses as a file."""
    found = score_of(request.app.state.engine, study)
    if form:
        return download(found.misses, name="forecast-misses", form=form, head=study.ledger_head)
    return render("against_facts.html", page_of(frame_of(request, AGAINST_FACTS, study), study, found))


@router.get(f"{AGAINST_FACTS.path}/figures.json")
def figures(request: Request, study: AskedStudy) -> Response:
    """Where the outcomes fell."""
    found = score_of(request.app.state.engine, study)
    return figures_answer({"changeouts": tenths(found.pit), "readings": tenths(found.next_reading.pit)})


def page_of(frame: Frame, study: Study, found: Score) -> AgainstFactsPage:
    """What the template shows of a score."""
    return AgainstFactsPage(
        frame=frame,
        answer=answer(found),
        more=more(found),
        score=found,
        lines=tuple(each for each in lines_of(found) if each.outcomes),
        misses=tuple(
            MissLine(each, record_link(frame, each.serial, each.brake_type)) for each in found.misses
        ),
        charts=frame.link(f"{AGAINST_FACTS.path}/figures.json"),
        origin=origin_of(frame, study, "forecasts against facts", kinds=BEHIND),
    )


def answer(found: Score) -> str:
    """How many outcomes fell inside, and how many should have."""
    read = found.next_reading
    if found.outcomes:
        return _inside(found.inside, found.outcomes, "change-out")
    if read.outcomes:
        return f"No change-out forecast has run out yet. {_inside(read.inside, read.outcomes, 'reading')}"
    return "No past forecast can be held against facts yet: the records are too young."


def _inside(inside: int, outcomes: int, what: str) -> str:
    expected = words.number(round(NOMINAL * outcomes))
    told = f"{words.number(inside)} of {words.counted(outcomes, what)}"
    return f"{told} fell inside the range of 8 in 10; {expected} expected."


def more(found: Score) -> tuple[str, ...]:
    """Bias, the rivals, and forecasts as they were shown, a sentence each."""
    told = []
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
