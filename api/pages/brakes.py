"""Brake record: what a serial has done, and how long is left."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Final
from urllib.parse import urlencode

import pandas as pd
from fastapi import APIRouter, HTTPException, Query, Request, Response
from pydantic import BaseModel

from api import words
from api.access import LetIn, allowed, need, within
from api.deps import AskedStudy
from api.event_words import NoticeTold, told_notices
from api.figures.brake import outcome_dots, wear_ahead, wear_plot
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import BRAKE_RECORD, BRAKES, PIN_READINGS
from api.pages.origin import Origin, again_at, numbers_told
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from api.writes import today
from db.going_on import MOST, brakes_called
from db.notices import notices
from db.session import Session, reading
from db.sessions import LetIn as Person
from lifecycle.past import ReadingPoint
from lifecycle.story import BrakeStory, brake_story
from lifecycle.study import Study

router = APIRouter(dependencies=[need("brakes.read")])

OWN_PAST: Final = "than its own past"


class Asked(BaseModel):
    """Which brake, its type where serials repeat between types, and the run whose readings are listed."""

    serial: str
    brake_type: str = ""
    run: int = 0


AskedQuery = Annotated[Asked, Query()]


@dataclass(frozen=True)
class FoundBrake:
    """One brake whose serial ends in what was typed, and its place in words."""

    serial: str
    brake_type: str
    record: str
    where: str


@dataclass(frozen=True)
class FindPage:
    """What brakes.html receives; `cut` where there are more than are listed, `whole` for who may take all away."""

    frame: Frame
    typed: str
    found: tuple[FoundBrake, ...]
    cut: bool
    whole: bool


@dataclass(frozen=True)
class BrakePage:
    """
    What brake.html receives.

    `typed` are the readings in inches, by record number; `governing` is the pin that is the shortest on average;
    `read_pins` leads to the wear check of its aircraft, for those who enter readings.
    """

    frame: Frame
    story: BrakeStory
    where: str
    answer: str
    limit_words: str
    run: int
    readings: tuple[ReadingPoint, ...]
    typed: Mapping[int, str]
    warnings: tuple[str, ...]
    origin: Origin
    charts: str
    notices: tuple[NoticeTold, ...] = ()
    read_pins: str = ""
    governing: int = 1


@router.get(BRAKES.path)
def find(request: Request, person: LetIn, serial: str = "") -> Response:
    """Brakes whose serial ends in what was typed, and where each is; no study is made for it."""
    frame = Frame(
        title=BRAKES.title,
        question=BRAKES.question,
        path=BRAKES.path,
        asked=dict(request.query_params),
        menu=BRAKES.path,
    )
    with Session(reading(request.app.state.engine)) as session:
        called = brakes_called(session, serial.strip(), bases=person.bases, on=today(), least=1)
    found = tuple(
        FoundBrake(each.serial, each.brake_type, record_link(frame, each.serial, each.brake_type), each.told)
        for each in called
    )
    return render(
        "brakes.html",
        FindPage(frame, serial, found, cut=len(found) == MOST, whole=allowed(person, "records.export")),
    )


@router.get(BRAKE_RECORD)
def brake(request: Request, study: AskedStudy, form: AskedForm, asked: AskedQuery, person: LetIn) -> Response:
    """The record of one brake, or its readings as a file."""
    number = brake_id(study, asked, person)
    story = brake_story(study, number)
    if form:
        return download(story.readings, name="pin-readings", form=form, head=study.ledger_head)
    frame = frame_of(request, BRAKES, study, title=f"Brake {asked.serial}")
    with Session(reading(request.app.state.engine)) as session:
        told = told_notices(notices(session, aircraft=[], brakes=[number]))
    page = replace(page_of(frame, story, study, run=asked.run), notices=told)
    reads = story.state == "fitted" and allowed(person, PIN_READINGS.action, story.base)
    link = f"{PIN_READINGS.path}?{urlencode({'aircraft': story.registration})}" if reads else ""
    return render("brake.html", replace(page, read_pins=link))


@router.get(f"{BRAKE_RECORD}/figures.json")
def figures(study: AskedStudy, asked: AskedQuery, person: LetIn) -> Response:
    """Wear of the latest run, what lies ahead of it closer up, and twenty equally likely days."""
    story = brake_story(study, brake_id(study, asked, person))
    ahead = {"ahead": wear_ahead(story)} if story.fan_by_landings else {}
    return figures_answer({"wear": wear_plot(story), **ahead, "outcomes": outcome_dots(story)})


def seen_brakes(study: Study, person: Person) -> pd.DataFrame:
    """Brakes that this person may see: those last on an aircraft of their bases, and those never on any."""
    brakes = study.records.brakes
    if not person.bases:
        return brakes
    stays = study.records.installations.sort_values("installed_on").drop_duplicates("brake", keep="last")
    bases = study.records.aircraft.set_index("aircraft")["base"]
    last = stays.set_index("brake")["aircraft"].map(bases)
    return brakes[brakes["brake"].map(last).fillna("").map(lambda base: within(person, base))]


def brake_id(study: Study, asked: Asked, person: Person) -> int:
    """The brake of that serial; refused where there is none, or where more than one type has it and none is named."""
    serial, brake_type, brakes = asked.serial, asked.brake_type, seen_brakes(study, person)
    found = brakes[(brakes["serial"] == serial) & ((brakes["brake_type"] == brake_type) | (not brake_type))]
    if found.empty:
        of_type = f" of type {brake_type!r}" if brake_type else ""
        raise HTTPException(
            404, f"no brake with serial {serial!r}{of_type} is on record; find it by its last four"
        )
    if len(found) > 1:
        types = words.listed(sorted(found["brake_type"]), "or")
        raise HTTPException(
            422, f"serial {serial!r} is carried by more than one type; add brake_type {types}"
        )
    return int(found["brake"].iloc[0])


def page_of(frame: Frame, story: BrakeStory, study: Study, *, run: int = 0) -> BrakePage:
    """What the template shows of one brake: the readings of the run asked for, else of the latest."""
    shown = run or story.runs[0].run
    due = story.change_out is not None and story.change_out.kind == "observed"
    return BrakePage(
        frame=frame,
        story=story,
        where=where(story),
        answer=answer(story),
        limit_words=types_of(study).limit_words(story.brake_type) if due else "",
        run=shown,
        readings=tuple(each for each in reversed(story.readings) if each.run == shown),
        typed=typed_inches(study, story.readings),
        warnings=warnings_beside(story),
        origin=Origin(
            what=f"brake {story.serial}",
            records=(
                numbers_told("pin_readings", [each.record for each in story.readings]),
                numbers_told("installations", [each.record for each in story.stays]),
            ),
            assumptions=(),
            scope=frame.told_scope,
            again=again_at(frame),
        ),
        charts=frame.link(f"{BRAKE_RECORD}/figures.json", run=""),
        governing=next((each.pin for each in story.pins if each.governs), 1),
    )


def warnings_beside(story: BrakeStory) -> tuple[str, ...]:
    """The warnings, less the one that the page tells at length with what speaks for it."""
    return tuple(each for each in story.warnings if story.dragging is None or OWN_PAST not in each)


def typed_inches(study: Study, readings: tuple[ReadingPoint, ...]) -> dict[int, str]:
    """What was typed in inches, as typed, by record number."""
    log = study.records.pin_readings
    own = log[
        log["record"].isin([each.record for each in readings]) & (log["unit"] == "in") & (log["pin_nm"] >= 0)
    ]
    rows = own[["record", "pin_nm", "resolution_nm"]].itertuples(index=False, name=None)
    return {record: words.inches(pin_nm, resolution_nm) for record, pin_nm, resolution_nm in rows}


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
    """Say that 8 in 10 the limit is reached between two days, at so many landings a day."""
    change = story.change_out
    if change is None:
        return "It is on no aircraft, so no day is forecast."
    if change.kind == "observed":
        return (
            f"Due now: {words.length_mm(change.pin_mm)} read on {words.day(change.read_on)}, "
            f"limit {words.length_mm(change.limit_mm)}."
        )
    if change.limit_mm is None:
        return "No wear limit is on record for it, so no day is forecast."
    if change.date_p10 is None or change.date_p90 is None:
        return "No day can be given: no flying is expected, or too little wear."
    pace = f", at {words.number(story.landings_a_day, 1)} landings a day" if story.landings_a_day else ""
    return f"8 in 10: the limit is reached {words.days_between(change.date_p10, change.date_p90)}{pace}."


def record_link(frame: Frame, serial: str, brake_type: str) -> str:
    """Where a brake's record stands; serials repeat between types."""
    return frame.elsewhere(BRAKE_RECORD, serial=serial, brake_type=brake_type)
