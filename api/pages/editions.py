"""Editions: briefs of a retrofit frozen as they were shown, and what moved since."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, allowed, need
from api.deps import AskedStudy
from api.editions import Moved, answer, freeze, frozen_of, moved_of, study_shown
from api.figures.retrofit import cash_by_year, swing
from api.output import flat, plain
from api.pages.frame import Frame, Scope, figures_answer, render
from api.pages.navigation import EDITIONS
from api.pages.origin import Origin
from api.pages.scope import frame_of
from api.shown_brief import ShownBrief, read_again
from api.tables import AskedForm, download
from api.writes import KEY_FIELD, Answer, asked_in, form_of, write
from db.chain import Act
from db.editions import Edition, edition, shown_in
from db.entry.editions import withdraw_edition
from db.session import reading

router = APIRouter()

Typed = Annotated[dict[str, str], Depends(form_of)]


@dataclass(frozen=True)
class EditionsPage:
    """What editions.html receives: each edition beside what the same question gives of today's records."""

    frame: Frame
    answer: str
    editions: tuple[Moved, ...]


@dataclass(frozen=True)
class EditionPage:
    """What edition.html receives: one edition as it was frozen. `withdraws`: the caller may withdraw it."""

    frame: Frame
    edition: Edition
    shown: ShownBrief
    origin: Origin
    charts: str
    withdraws: bool


@router.get(EDITIONS.path, dependencies=[need("money.read")])
def list_editions(request: Request, study: AskedStudy, form: AskedForm) -> Response:
    """Every edition, withdrawn ones too, or the list as a file."""
    found = moved_of(request.app.state.engine, study, withdrawn=True)
    if form:
        return download([line_of(each) for each in found], name="editions", form=form, head=study.ledger_head)
    page = EditionsPage(frame_of(request, EDITIONS, study), answer(found), tuple(found))
    return render("editions.html", page)


@router.post(EDITIONS.path, dependencies=[need("money.freeze")])
def freeze_brief(request: Request, person: LetIn, typed: Typed) -> Response:
    """Freeze the brief that was shown."""
    engine = request.app.state.engine
    shown = study_shown(engine, typed.get("study", ""))
    asked = frozen_of(shown, typed.get("from", ""), typed.get("to", ""), typed.get("title", ""))

    def work(session: Session) -> Answer:
        number = freeze(session, asked, person=person.name, source="form")
        return Answer(303, to=f"{EDITIONS.path}/{number}")

    return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)


@router.get(f"{EDITIONS.path}/{{number}}", dependencies=[need("money.read")])
def one_edition(request: Request, number: int, person: LetIn, form: AskedForm) -> Response:
    """One edition as it was frozen, or its cash by year as a file."""
    found, shown = _read(request, number)
    if form:
        name = f"edition-{number}-cash"
        return download(shown.flows, name=name, form=form, head=found.records_head)
    path = f"{EDITIONS.path}/{number}"
    title = f"Edition {number}: {found.title}"
    question = f"Should {found.from_type} be changed to {found.to_type}, and when does it pay back?"
    frame = Frame(title, question, path, {}, scope=scope_then(found, shown), menu=EDITIONS.path)
    page = EditionPage(
        frame=frame,
        edition=found,
        shown=shown,
        origin=Origin("the retrofit brief", shown.records, shown.briefing.assumptions, frame.told_scope),
        charts=f"{path}/figures.json",
        withdraws=not found.withdrawn_by and allowed(person, "money.freeze"),
    )
    return render("edition.html", page)


@router.get(f"{EDITIONS.path}/{{number}}/figures.json", dependencies=[need("money.read")])
def figures(request: Request, number: int) -> Response:
    """The charts of an edition, drawn from what was frozen."""
    _, shown = _read(request, number)
    cash = cash_by_year(shown.flows, shown.briefing.currency)
    return figures_answer({"cash": cash, "swing": swing(shown.briefing)})


@router.get(f"{EDITIONS.path}/{{number}}/frozen.json", dependencies=[need("money.read")])
def as_frozen(request: Request, number: int) -> Response:
    """The very text that was frozen."""
    with Session(reading(request.app.state.engine)) as session:
        found = edition(session, number)
        text = shown_in(session, number)
    kept = {"Content-Disposition": f'attachment; filename="edition-{number}-{found.entry[:12]}.json"'}
    return Response(text, media_type="application/json", headers=kept)


@router.post(f"{EDITIONS.path}/{{number}}/withdrawal", dependencies=[need("money.freeze")])
def withdraw(request: Request, number: int, person: LetIn, typed: Typed) -> Response:
    """Withdraw an edition, with a reason; it stays readable."""
    act = Act(person.name, "form", "withdraw an edition", typed.get("reason", "").strip())

    def work(session: Session) -> Answer:
        withdraw_edition(session, act, number, version=typed.get("version", ""))
        return Answer(303, to=f"{EDITIONS.path}/{number}")

    return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)


def line_of(each: Moved) -> dict[str, object]:
    """One edition as the list's file has it: plain columns, what it said and what is said now side by side."""
    told = flat(plain(each.edition))
    for when, said in (("then", each.then), ("now", each.now)):
        for name in ("recommendation", "npv", "payback_years_p50", "chance_by_retirement"):
            told[f"{name}_{when}"] = getattr(said, name) if said else None
    inputs = "; ".join(f"{one.name}: {one.then or 'none'} -> {one.now or 'none'}" for one in each.inputs)
    more = {
        name: getattr(each, name) for name in ("by_records", "by_assumptions", "entries_since", "refused")
    }
    return {**told, "currency": each.then.currency, **more, "inputs": inputs}


def scope_then(found: Edition, shown: ShownBrief) -> Scope:
    """What an edition speaks of: the records as they were."""
    return Scope(
        base="",
        bases=(),
        on=shown.on,
        known_on=shown.known_on,
        records_through=shown.records_through,
        missing_aircraft_days=shown.missing_aircraft_days,
        gaps=(),
        study=found.study,
        head=found.records_head,
    )


def _read(request: Request, number: int) -> tuple[Edition, ShownBrief]:
    with Session(reading(request.app.state.engine)) as session:
        return edition(session, number), read_again(shown_in(session, number))
