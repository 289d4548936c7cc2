"""Brake record: what has this serial done, how long is left?"""

from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import quote

from fastapi import APIRouter, HTTPException, Query, Request, Response

from api import words
from api.deps import AskedStudy
from api.figures.brake import outcome_dots, wear_plot
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figure_answer, render
from api.pages.navigation import BRAKES
from api.pages.origin import Origin
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle.past import ReadingPoint
from lifecycle.story import BrakeStory, brake_story
from lifecycle.study import Study

router = APIRouter()

MOST_FOUND: Final = 50
BrakeType = Annotated[str, Query(description="the brake type, where a serial repeats between types")]


@dataclass(frozen=True)
class FoundBrake:
    """One brake whose serial fits what was typed."""

    serial: str
    brake_type: str
    record: str


@dataclass(frozen=True)
class FindPage:
    """What brakes.html receives."""

    frame: Frame
    typed: str
    found: tuple[FoundBrake, ...]
    total: int


@dataclass(frozen=True)
class BrakePage:
    """What brake.html receives."""

    frame: Frame
    story: BrakeStory
    where: str
    answer: str
    limit_words: str
    readings: tuple[ReadingPoint, ...]
    origin: Origin
    wear_chart: str
    dots_chart: str


@router.get(BRAKES.path)
def find(request: Request, study: AskedStudy, serial: str = "") -> Response:
    """Brakes whose serial ends in what was typed."""
    frame = frame_of(request, BRAKES, study)
    brakes = study.records.brakes
    fits = brakes[brakes["serial"].str.upper().str.endswith(serial.strip().upper())] if serial.strip() else brakes[:0]
    found = tuple(
        FoundBrake(name, brake_type, _record(frame, name, brake_type))
        for name, brake_type in fits[["serial", "brake_type"]].head(MOST_FOUND).itertuples(index=False)
    )
    return render("brakes.html", FindPage(frame, serial, found, len(fits)))


@router.get(f"{BRAKES.path}/{{serial}}")
def brake(
    request: Request, study: AskedStudy, serial: str, brake_type: BrakeType = "", form: AskedForm = None
) -> Response:
    """The record of one brake, or its readings as a file."""
    story = brake_story(study, brake_id(study, serial, brake_type))
    if form:
        return download(story.readings, name=f"readings-{serial}", form=form)
    return render("brake.html", page_of(frame_of(request, BRAKES, study, title=f"Brake {serial}"), story, study))


@router.get(f"{BRAKES.path}/{{serial}}/wear.json")
def wear(study: AskedStudy, serial: str, brake_type: BrakeType = "") -> Response:
    """Readings, fit, fan and limit."""
    return figure_answer(wear_plot(brake_story(study, brake_id(study, serial, brake_type))))


@router.get(f"{BRAKES.path}/{{serial}}/outcomes.json")
def outcomes(study: AskedStudy, serial: str, brake_type: BrakeType = "") -> Response:
    """Twenty equally likely days."""
    return figure_answer(outcome_dots(brake_story(study, brake_id(study, serial, brake_type))))


def brake_id(study: Study, serial: str, brake_type: str) -> int:
    """The brake of that serial; refused where there is none, or where more than one type has it and none is named."""
    brakes = study.records.brakes
    found = brakes[(brakes["serial"] == serial) & (brakes["brake_type"].isin([brake_type]) if brake_type else True)]
    if len(found) == 0:
        of_type = f" of type {brake_type!r}" if brake_type else ""
        raise HTTPException(404, f"no brake with serial {serial!r}{of_type} is on record; find it by its last four")
    if len(found) > 1:
        types = words.listed(sorted(found["brake_type"]), "or")
        raise HTTPException(422, f"serial {serial!r} is carried by more than one type; add brake_type={types}")
    return int(found["brake"].iloc[0])


def page_of(frame: Frame, story: BrakeStory, study: Study) -> BrakePage:
    """What the template shows of one brake."""
    own = frame.link
    due = story.change_out is not None and story.change_out.kind == "observed"
    return BrakePage(
        frame=frame,
        story=story,
        where=where(story),
        answer=answer(story),
        limit_words=types_of(study).limit_words(story.brake_type) if due else "",
        readings=tuple(reversed(story.readings)),
        origin=origin_of(frame, story),
        wear_chart=own(f"{BRAKES.path}/{story.serial}/wear.json"),
        dots_chart=own(f"{BRAKES.path}/{story.serial}/outcomes.json") if any(story.outcome_dates) else "",
    )


def where(story: BrakeStory) -> str:
    """Where it is now."""
    if story.state == "fitted":
        return f"On {story.registration}, position {story.position}, {story.base or 'no base'}."
    last = max(story.stays, key=lambda each: each.from_on, default=None)
    if last is None:
        return "On no aircraft."
    return (
        f"On no aircraft since {words.day(last.to_on)}: off {last.registration}, position {last.position}, "
        f"{last.removal_reason or 'no reason on record'}."
    )


def answer(story: BrakeStory) -> str:
    """`8 in 10: the limit is reached between ... and ..., at 2.9 landings a day.`"""
    change = story.change_out
    if change is None:
        return "It is on no aircraft, so no day is forecast."
    if change.kind == "observed":
        return f"Due now: read {words.length_mm(change.pin_mm)} on {words.day(change.read_on)}, limit {words.length_mm(change.limit_mm)}."
    if change.limit_mm is None:
        return "No wear limit is on record for it, so no day is forecast."
    if change.date_p10 is None or change.date_p90 is None:
        return "The limit is out of sight: no flying is expected, or too little wear."
    pace = f", at {words.number(story.landings_a_day, 1)} landings a day" if story.landings_a_day else ""
    return f"8 in 10: the limit is reached {words.days_between(change.date_p10, change.date_p90)}{pace}."


def origin_of(frame: Frame, story: BrakeStory) -> Origin:
    """How the record's figures are worked out, and from which records."""
    readings = words.record_numbers([each.record for each in story.readings])
    stays = words.record_numbers([each.record for each in story.stays])
    return Origin(
        what=f"brake {story.serial}",
        formula=(
            "Pin left: of all pins read, the shortest governs.",
            "Fit: wear grows with braked landings at a rate of this brake's own, drawn towards what its type does by as "
            "much as its own readings leave open; wear scatters about that line and so does the gauge.",
            "Fan: where the pin will stand after so many more landings, 8 in 10 and 1 in 2. The days are those on which "
            "the fan's law has crossed the limit with a chance of 1 and 9 in 10, given that it is still fitted.",
            "Twenty dots: each stands for one outcome in twenty.",
        ),
        records=f"Pin readings {readings or 'none'}; installations {stays or 'none'}; landings of the aircraft on those days.",
        scope=frame.told_scope,
    )


def _record(frame: Frame, serial: str, brake_type: str) -> str:
    return frame.elsewhere(f"{BRAKES.path}/{quote(serial, safe='')}", brake_type=brake_type)
