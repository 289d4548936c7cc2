"""Editions as JSON: listed beside today's answer, read as frozen, frozen, withdrawn under If-Match."""

import json
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from api.access import LetIn, need
from api.deps import AskedStudy
from api.editions import Moved, freeze, frozen_of, moved_of, study_shown
from api.output import plain
from api.records import Key, Match, matched
from api.shown_brief import ShownBrief
from api.writes import Answer, write
from db.chain import Act
from db.editions import Edition, edition, shown_in
from db.entry.editions import LONGEST_TITLE, withdraw_edition
from db.session import reading

router = APIRouter(tags=["editions"])


class Question(BaseModel):
    """What is frozen: the brief of these two types in a study that was shown, under a title."""

    model_config = ConfigDict(extra="forbid")

    title: Annotated[str, Field(max_length=LONGEST_TITLE)]
    study: Annotated[str, Field(description="number of the study, as GET /briefing told it")]
    from_type: str
    to_type: str


@dataclass(frozen=True)
class ToldEdition:
    """An edition whole: its place in the log, and the brief as it was frozen."""

    edition: Edition
    shown: ShownBrief


@router.get("/editions", dependencies=[need("money.read")])
def editions(
    request: Request,
    study: AskedStudy,
    *,
    withdrawn: Annotated[bool, Query(description="withdrawn ones too")] = False,
) -> list[Moved]:
    """Editions, the latest first, each beside what the same question gives of this study's records."""
    return moved_of(request.app.state.engine, study, withdrawn=withdrawn)


@router.get("/editions/{number}", dependencies=[need("money.read")], responses={200: {"model": ToldEdition}})
def one_edition(request: Request, number: int) -> Response:
    """An edition as it was frozen; the ETag names its version for a withdrawal."""
    with Session(reading(request.app.state.engine)) as session:
        found = edition(session, number)
        shown = json.loads(shown_in(session, number))
    return Answer(200, {"edition": plain(found), "shown": shown}, _tag(found)).response()


@router.post(
    "/editions",
    status_code=201,
    dependencies=[need("money.freeze")],
    response_model=None,
    responses={201: {"model": Edition}},
)
def freeze_brief(request: Request, person: LetIn, asked: Question, key: Key = "") -> Response:
    """Freeze the brief of a study that was shown."""
    study = study_shown(request.app.state.engine, asked.study)
    what = frozen_of(study, asked.from_type, asked.to_type, asked.title)

    def work(session: Session) -> Answer:
        number = freeze(session, what, person=person.name, source="api")
        return _told(edition(session, number), 201)

    return write(request, person, key, asked.model_dump(), work)


@router.delete("/editions/{number}", dependencies=[need("money.freeze")], responses={200: {"model": Edition}})
def withdraw(  # noqa: PLR0913, PLR0917 - one argument a part of the request
    request: Request,
    number: int,
    person: LetIn,
    reason: Annotated[str, Query(max_length=2_000)] = "",
    key: Key = "",
    match: Match = "",
) -> Response:
    """Withdraw an edition, with a reason; it stays readable."""
    version = matched(match)
    act = Act(person.name, "api", "withdraw an edition", reason.strip())
    return write(
        request,
        person,
        key,
        [version, reason],
        lambda session: _told(withdraw_edition(session, act, number, version=version), 200),
    )


def _told(found: Edition, status: int) -> Answer:
    body: dict[str, Any] = plain(found)
    return Answer(status, body, _tag(found))


def _tag(found: Edition) -> dict[str, str]:
    return {"ETag": f'"{found.version}"'}
