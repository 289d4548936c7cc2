"""Assumptions and wear limits: what is taken as given, from whom, how old, and what waits for a second person."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, allowed, need
from api.forms import day_typed
from api.pages.frame import Frame, render
from api.pages.navigation import ASSUMPTIONS, COST, READINGS_DUE, RETROFIT, SPARES, Place
from api.records import enter_rows
from api.tables import AskedForm, download
from api.words import counted, listed
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.errors import RowsRefusedError
from db.files import ENTERED
from db.given import Given, given_of
from db.imports.refused import CellError
from db.lookup import aircraft_type_ids, base_ids, brake_type_ids
from db.session import reading
from db.sessions import LetIn as Person
from db.studies import head_now
from lifecycle.assumptions import UNITS
from lifecycle.next_look import NAME as CHANCE_UNREAD
from lifecycle.pricing import ASKED, FUEL_INPUTS
from lifecycle.shelf import ON_THE_SHELF
from lifecycle.terms import ONCE, OPEN_ENDED, OPTIONAL, PER_AIRCRAFT, PER_BRAKE, RATES

router = APIRouter()

Typed = Annotated[dict[str, str], Depends(form_of)]
SCOPES: Final = ("aircraft_type", "brake_type", "base")
FIELDS: Final = ("name", *SCOPES, "value", "unit", "low", "high", "source", "dated", "owner", "review_by")
LIMIT_FIELDS: Final = (
    *("brake_type", "weight_variant", "position_group", "convention", "limit", "unit", "at_limit"),
    *("effective_on", "source"),
)
USES: Final[tuple[tuple[Place, frozenset[str]], ...]] = (
    (READINGS_DUE, frozenset({CHANCE_UNREAD})),
    (SPARES, frozenset(ON_THE_SHELF)),
    (COST, frozenset({*ASKED, *FUEL_INPUTS})),
    (
        RETROFIT,
        frozenset({*ASKED, *FUEL_INPUTS, *PER_AIRCRAFT, *PER_BRAKE, *ONCE, *RATES, *OPEN_ENDED, *OPTIONAL}),
    ),
)


@dataclass(frozen=True)
class Row:
    """One assumption as the page and its exports list it; `state` is in force, waiting or replaced."""

    record: int
    name: str
    aircraft_type: str
    brake_type: str
    base: str
    value: str
    unit: str
    low: str
    high: str
    source: str
    dated: str
    owner: str
    review_by: str
    entered_by: str
    used_on: str
    state: str
    overdue: bool
    waits: bool


@dataclass(frozen=True)
class Ask:
    """One field of a form: what was typed, the words it takes, and what is wrong with it."""

    name: str
    typed: str
    words: tuple[str, ...]
    required: bool
    error: str


@dataclass(frozen=True)
class AssumptionsPage:
    """What assumptions.html receives."""

    frame: Frame
    answer: str
    rows: tuple[Row, ...]
    replaced: tuple[Row, ...]
    limits: tuple[Given, ...]
    names: tuple[tuple[str, str], ...]
    forms: Mapping[str, tuple[Ask, ...]]
    refused: str


@router.get(ASSUMPTIONS.path, dependencies=[need("assumptions.read")])
def list_assumptions(request: Request, person: LetIn, form: AskedForm) -> Response:
    """The page, or its main table as a file."""
    if form:
        with Session(reading(request.app.state.engine)) as session:
            rows, head = rows_of(given_of(session, "assumptions"), today()), head_now(session)
        return download(rows, name="assumptions", form=form, head=head)
    return _answer(request, person)


@router.post(f"{ASSUMPTIONS.path}/{{kind}}", dependencies=[need("assumptions.write")])
def propose(request: Request, kind: str, person: LetIn, typed: Typed) -> Response:
    """Propose an assumption or a limit; it counts once somebody else has approved it, a tighter limit at once."""
    kind = "wear_limits" if kind == "limits" else "assumptions"

    def work(session: Session) -> Answer:
        asked = {name: typed.get(name, "").strip() for name in fields_of(kind)}
        row = {name: _iso(text) if name == "dated" else text for name, text in asked.items()}
        enter_rows(session, person, kind, [row], source="form")
        return Answer(303, to=ASSUMPTIONS.path)

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except RowsRefusedError as error:
        return _answer(request, person, {**typed, "kind": kind}, error)


def fields_of(kind: str) -> tuple[str, ...]:
    """The columns that a form of this kind asks for."""
    return FIELDS if kind == "assumptions" else LIMIT_FIELDS


def used_on(name: str) -> str:
    """The pages whose figures take an assumption of this name."""
    return ", ".join(place.title for place, names in USES if name in names) or "no figure"


def rows_of(items: list[Given], on: dt.date) -> list[Row]:
    """Assumptions in the order of their names; of one name and scope all but the last dated in force are replaced."""
    latest: dict[tuple[str, ...], str] = {}
    for each in items:
        if each.in_force:
            place, dated = _place(each), each.in_force.told["dated"]
            latest[place] = max(dated, latest.get(place, ""))
    rows = [_row(each, latest.get(_place(each), ""), on) for each in items]
    return sorted(rows, key=lambda row: (row.name, row.aircraft_type, row.brake_type, row.base, row.dated))


def _row(each: Given, latest: str, on: dt.date) -> Row:
    shown = each.in_force or each.record.now
    told = shown.told
    replaced = each.in_force is not None and told["dated"] < latest
    state = "replaced" if replaced else "in force" if each.in_force else "waiting"
    return Row(
        record=each.record.fact,
        **{name: told[name] for name in FIELDS},
        entered_by=shown.person if not each.in_force else each.record.versions[0].person,
        used_on=used_on(told["name"]),
        state=state,
        overdue=bool(told["review_by"]) and told["review_by"] < on.isoformat() and not replaced,
        waits=each.waits,
    )


def _place(each: Given) -> tuple[str, ...]:
    told = (each.in_force or each.record.now).told
    return tuple(told[name] for name in ("name", *SCOPES))


def _iso(text: str) -> str:
    """A day typed short becomes year-month-day; what is none is refused with its reason where the row is read."""
    try:
        return day_typed(text, today=today()).isoformat() if text else ""
    except CellError:
        return text


def _answer(
    request: Request,
    person: Person,
    typed: Mapping[str, str] | None = None,
    error: RowsRefusedError | None = None,
) -> Response:
    typed = typed or {}
    with Session(reading(request.app.state.engine)) as session:
        rows = rows_of(given_of(session, "assumptions"), today())
        limits = given_of(session, "wear_limits")
        words = {
            "aircraft_type": tuple(sorted(aircraft_type_ids(session))),
            "brake_type": tuple(sorted(brake_type_ids(session))),
            "base": tuple(sorted(base_ids(session))),
        }
    wrong = {each.column: f"{each.rule}; {each.suggestion}" for each in error.errors} if error else {}
    proposes = allowed(person, "assumptions.write")
    page = AssumptionsPage(
        frame=Frame(
            title=ASSUMPTIONS.title,
            question=ASSUMPTIONS.question,
            path=ASSUMPTIONS.path,
            asked={},
            menu=ASSUMPTIONS.path,
        ),
        answer=answer_in_words(rows, limits),
        rows=tuple(row for row in rows if row.state != "replaced"),
        replaced=tuple(row for row in rows if row.state == "replaced"),
        limits=tuple(limits),
        names=tuple(UNITS.items()),
        forms={
            kind: _asks(kind, words, typed if typed.get("kind") == kind else {}, wrong)
            for kind in ("assumptions", "wear_limits")
        }
        if proposes
        else {},
        refused=str(error) if error else "",
    )
    return render("assumptions.html", page, status=422 if error else 200)


def answer_in_words(rows: list[Row], limits: list[Given]) -> str:
    """How many values, how many wait, how many are past their review."""
    stand = [row for row in rows if row.state != "replaced"]
    told = f"{counted(len(stand), 'value').capitalize()} and {counted(len(limits), 'wear limit')} are taken as given"
    waiting = sum(row.waits for row in stand) + sum(each.waits for each in limits)
    overdue = sum(row.overdue for row in stand)
    words = (
        (waiting, "waits for a second person", "wait for a second person"),
        (overdue, "is past its review day", "are past their review day"),
    )
    more = [counted(count, one, many) for count, one, many in words if count]
    return f"{told}; {listed(more)}." if more else f"{told}; nothing waits."


def _asks(
    kind: str, words: Mapping[str, tuple[str, ...]], typed: Mapping[str, str], wrong: Mapping[str, str]
) -> tuple[Ask, ...]:
    file = ENTERED[kind]
    return tuple(
        Ask(
            name,
            typed.get(name, ""),
            words.get(name, ()) or (column.words if (column := file.column(name)) else ()),
            bool((column := file.column(name)) and column.required),
            wrong.get(name, "") if typed else "",
        )
        for name in fields_of(kind)
    )
