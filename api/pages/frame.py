"""The frame of every page: what it asks, its scope, the way to the other pages, and how a page is rendered."""

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Protocol
from urllib.parse import urlencode

from fastapi import Request, Response
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from plotly.graph_objects import Figure

from api import words
from api.caller import caller
from api.errors import Problem
from api.form_guard import form_token
from api.pages.assets import asset_url, placeholder_id
from api.pages.navigation import PLACES, Place, by_group
from api.pages.reach import Gap
from api.writes import write_key

TEMPLATES = Path(__file__).parent.parent / "templates"


@dataclass(frozen=True)
class Scope:
    """
    What a page speaks of: a base or all of them, forecast from a day, records as known on a day.

    `early` says what the answer rests on where that day lies before the log's first.
    """

    base: str
    bases: tuple[str, ...]
    on: dt.date
    known_on: dt.date
    records_through: dt.date | None
    missing_aircraft_days: int
    gaps: tuple[Gap, ...]
    study: str
    head: str
    every_base: bool = True
    early: str = ""


@dataclass(frozen=True)
class Frame:
    """
    Head and foot of one page.

    `asked` is the query as typed, `scope` None where no study stands behind the page, `menu` the place it belongs to.
    """

    title: str
    question: str
    path: str
    asked: Mapping[str, str]
    scope: Scope | None = None
    by_base: bool = False
    menu: str = ""

    @property
    def told_scope(self) -> Scope:
        """The scope of a page that has one."""
        if self.scope is None:
            raise TypeError(f"{self.path} shows figures and has no study; make its frame with frame_of")
        return self.scope

    @property
    def groups(self) -> dict[str, tuple[Place, ...]]:
        """The pages that the caller may open, by the work they belong to."""
        return by_group(caller().person)

    @property
    def group(self) -> str:
        """The work that the page belongs to, empty where it belongs to none."""
        return next((place.group for place in PLACES if place.path == self.menu), "")

    @property
    def who(self) -> str:
        """The name of the caller, empty where nobody is known."""
        person = caller().person
        return person.name if person else ""

    def link(self, path: str = "", **changes: str) -> str:
        """A link that keeps what was asked, but for the changes; an empty value leaves a word out."""
        kept = {key: value for key, value in {**self.asked, **changes}.items() if value}
        return (path or self.path) + (f"?{urlencode(kept)}" if kept else "")

    def elsewhere(self, path: str, **more: str) -> str:
        """A link to another page in the same scope."""
        scope = {
            key: value for key, value in self.asked.items() if key in ("base", "on", "known_on", "known_head")
        }
        kept = {key: value for key, value in {**scope, **more}.items() if value}
        return path + (f"?{urlencode(kept)}" if kept else "")


class Page(Protocol):
    """What a template receives: one frozen dataclass with a frame."""

    @property
    def frame(self) -> Frame:
        """Head and foot."""


@cache
def environment() -> Environment:
    """Templates that escape everything and refuse a name that is not there."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    spoken = {
        name: each
        for name, each in vars(words).items()
        if callable(each) and each.__module__ == words.__name__
    }
    made.filters |= spoken
    made.globals |= {"asset": asset_url, "placeholder_id": placeholder_id}
    made.globals |= {"form_token": form_token, "write_key": write_key}
    return made


@dataclass(frozen=True)
class ErrorPage:
    """What error.html receives: the refusal, and what was typed, to be mended and sent again."""

    frame: Frame
    problem: Problem
    typed: tuple[tuple[str, str], ...]


def error_page(request: Request, problem: Problem) -> HTMLResponse:
    """A refusal as a page that keeps what was typed."""
    typed = tuple(request.query_params.multi_items())
    frame = Frame(title="This could not be done", question="", path=request.url.path, asked={})
    return render("error.html", ErrorPage(frame, problem, typed), status=problem.status)


def figures_answer(figures: Mapping[str, Figure]) -> Response:
    """The charts of a page as the one JSON that its script draws from."""
    parts = ",".join(f"{json.dumps(name)}:{figure.to_json()}" for name, figure in figures.items())
    return Response(f"{{{parts}}}", media_type="application/json")


def render(template: str, page: Page, status: int = 200) -> HTMLResponse:
    """One page from its template; the template knows the one name `page`."""
    return HTMLResponse(environment().get_template(template).render(page=page), status_code=status)
