"""Bring in records: files chosen, columns matched, a dry run, then loaded whole; and loads, to be withdrawn whole."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, need
from api.errors import Problem, problem_of
from api.loads import (
    SentForm,
    dry_run,
    load_upload,
    opened,
    receive,
    seen_load,
    sees,
    sent_form,
    take_back,
    written_in,
)
from api.pages.frame import Frame, render
from api.pages.match_columns import Choice, Line, choices_of, lines_of, matching_typed
from api.pages.navigation import BRING_IN
from api.tables import AskedForm, download
from api.writes import KEY_FIELD, Answer, asked_in, form_of, write
from db.entry.uploads import drop_upload, match_part, matchings_of
from db.errors import LedgerError, RowsRefusedError
from db.files import FILES
from db.imports.loading import Tried
from db.imports.matching import Matching
from db.imports.written import DAY_ORDERS, DECIMALS, ENCODINGS, SEPARATORS, Written
from db.loaded import LoadMade, load_of, loads_before
from db.lookup import LAST_NUMBER
from db.session import reading
from db.sessions import LetIn as Person
from db.studies import head_now
from db.uploaded import Known, Uploaded, UploadedPart, known_sources, upload_of, uploads_of

router = APIRouter()

LOADS_SHOWN: Final = 20
ERRORS_SHOWN: Final = 100
CHOICES: Final = {
    "encoding": ("Encoding", tuple(ENCODINGS)),
    "separator": ("Fields are parted by", tuple(SEPARATORS)),
    "decimal": ("Decimal sign", DECIMALS),
    "days": ("Days are written", DAY_ORDERS),
}

Typed = Annotated[dict[str, str], Depends(form_of)]
Sent = Annotated[SentForm, Depends(sent_form)]


@dataclass(frozen=True)
class BringInPage:
    """What bring_in.html receives; `typed` is the form as it stands, `older` leads on to earlier loads."""

    frame: Frame
    waiting: tuple[Uploaded, ...]
    sources: tuple[Known, ...]
    loads: tuple[LoadMade, ...]
    older: str
    choices: Mapping[str, tuple[str, tuple[str, ...]]]
    typed: Mapping[str, str]
    problem: Problem | None


@dataclass(frozen=True)
class PartShown:
    """
    One table of an upload with the lines that match it; none where it is left out, or its kind not yet said.

    `folded` where it is matched and tried: what the dry run said comes first.
    """

    part: UploadedPart
    kind: str
    folded: bool
    choices: tuple[Choice, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class UploadPage:
    """What upload.html receives; `tried` is the last dry run, `problem` a refusal of what was typed or loaded."""

    frame: Frame
    upload: Uploaded
    parts: tuple[PartShown, ...]
    kinds: tuple[str, ...]
    tried: Tried | None
    errors_shown: int
    problem: Problem | None


@dataclass(frozen=True)
class LoadPage:
    """What load.html receives; `reason` as typed where a withdrawal was refused."""

    frame: Frame
    load: LoadMade
    reason: str
    problem: Problem | None


@router.get(BRING_IN.path, dependencies=[need("records.load")])
def bring_in(
    request: Request,
    person: LetIn,
    form: AskedForm,
    source: str = "",
    before: Annotated[int | None, Query(ge=1, le=LAST_NUMBER)] = None,
) -> Response:
    """What waits, the form for files, the sources that are remembered, and the loads that were made."""
    return _start(request, person, {"source": source}, before=before, form=form)


@router.post(BRING_IN.path, dependencies=[need("records.load")])
def send(request: Request, person: LetIn, sent: Sent) -> Response:
    """Open the files and keep them for this person; files with our own columns go straight to the dry run."""
    try:
        written = written_in(sent.fields)
        files = opened(sent.files, written)

        def work(session: Session) -> Answer:
            number = receive(session, person, files, source=sent.fields.get("source", ""), written=written)
            _try(session, person, number)
            return Answer(303, to=f"{BRING_IN.path}/{number}")

        asked = [asked_in(sent.fields), sent.asked]
        return write(request, person, sent.fields.get(KEY_FIELD, ""), asked, work)
    except LedgerError as error:
        return _start(request, person, sent.fields, problem=problem_of(error))


@router.get(f"{BRING_IN.path}/loads/{{number}}", dependencies=[need("records.load")])
def one_load(request: Request, number: int, person: LetIn) -> Response:
    """One load, with the form that withdraws it."""
    return _load_answer(request, person, number)


@router.post(f"{BRING_IN.path}/loads/{{number}}", dependencies=[need("records.load")])
def withdraw(request: Request, number: int, person: LetIn, typed: Typed) -> Response:
    """Withdraw a load whole; what was refused comes back with the reason as typed."""

    def work(session: Session) -> Answer:
        take_back(session, person, number, typed.get("reason", ""), way="form")
        return Answer(303, to=f"{BRING_IN.path}/loads/{number}")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _load_answer(request, person, number, typed.get("reason", ""), problem_of(error))


@router.get(f"{BRING_IN.path}/{{number}}", dependencies=[need("records.load")])
def upload(  # noqa: PLR0913, PLR0917 - one argument a word of the address
    request: Request, number: str, person: LetIn, form: AskedForm, place: int = -1, kind: str = ""
) -> Response:
    """One upload: its columns to match, what its dry run said, and the way to load it or to throw it away."""
    if form:
        with Session(reading(request.app.state.engine)) as session:
            tried, head = upload_of(session, person.name, number, now=_now()).tried, head_now(session)
        return download(tried.errors if tried else (), name="rows-to-mend", form=form, head=head)
    return _upload_answer(request, person, number, said={place: kind})


@router.post(f"{BRING_IN.path}/{{number}}/columns/{{place}}", dependencies=[need("records.load")])
def match(request: Request, number: str, place: int, person: LetIn, typed: Typed) -> Response:
    """Match the columns of a table, or leave it out; once all are matched, a dry run follows."""
    kind = "" if typed.get("act") == "leave" else typed.get("kind", "")

    def work(session: Session) -> Answer:
        found = upload_of(session, person.name, number, now=_now())
        part = _part(found, place)
        matching = matching_typed(part, kind, typed, found.written)
        match_part(session, number, place, kind, matching, person=person.name, now=_now())
        _try(session, person, number)
        return Answer(303, to=f"{BRING_IN.path}/{number}")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _upload_answer(request, person, number, said={place: kind}, typed={place: typed}, error=error)


@router.post(f"{BRING_IN.path}/{{number}}", dependencies=[need("records.load")])
def act(request: Request, number: str, person: LetIn, typed: Typed) -> Response:
    """Load an upload whole, try it again, or throw it away."""

    def work(session: Session) -> Answer:
        found = upload_of(session, person.name, number, now=_now())
        if typed.get("act") == "load":
            made = load_upload(session, person, found, way="form")
            return Answer(303, to=f"{BRING_IN.path}/loads/{made}" if made else BRING_IN.path)
        if typed.get("act") == "drop":
            drop_upload(session, number)
            return Answer(303, to=BRING_IN.path)
        _try(session, person, number)
        return Answer(303, to=f"{BRING_IN.path}/{number}")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _upload_answer(request, person, number, error=error)


def _try(session: Session, person: Person, number: str) -> None:
    found = upload_of(session, person.name, number, now=_now())
    if found.is_matched:
        dry_run(session, person, found)


def _start(  # noqa: PLR0913 - the page, and what was asked of it
    request: Request,
    person: Person,
    typed: Mapping[str, str],
    *,
    before: int | None = None,
    form: AskedForm = None,
    problem: Problem | None = None,
) -> Response:
    with Session(reading(request.app.state.engine)) as session:
        found = loads_before(session, before, most=LOADS_SHOWN)
        loads = tuple(made for made in found if sees(session, person, made))
        if form:
            return download(loads, name="loads", form=form, head=head_now(session))
        waiting = tuple(uploads_of(session, person.name, now=_now()))
        sources = tuple(known_sources(session))
    named = next((each.written for each in sources if each.name == typed.get("source")), Written())
    page = BringInPage(
        frame=_frame(BRING_IN.title, BRING_IN.path),
        waiting=waiting,
        sources=sources,
        loads=loads,
        older=f"{BRING_IN.path}?before={found[-1].number}" if len(found) == LOADS_SHOWN else "",
        choices=CHOICES,
        typed={name: typed.get(name, "") or getattr(named, name, "") for name in ("source", *CHOICES)},
        problem=problem,
    )
    return render("bring_in.html", page, status=problem.status if problem else 200)


def _upload_answer(  # noqa: PLR0913 - the page, and what was typed and refused
    request: Request,
    person: Person,
    number: str,
    *,
    said: Mapping[int, str] | None = None,
    typed: Mapping[int, Mapping[str, str]] | None = None,
    error: LedgerError | None = None,
) -> Response:
    said = {place: kind for place, kind in (said or {}).items() if kind in FILES}
    rows = error.errors if isinstance(error, RowsRefusedError) else ()
    wrong = {each.column: f"{each.rule}; {each.suggestion}" for each in rows}
    with Session(reading(request.app.state.engine)) as session:
        found = upload_of(session, person.name, number, now=_now())
        known = matchings_of(session, found.source)
    parts = tuple(
        _shown(part, said.get(part.place, part.kind), known, (typed or {}).get(part.place, {}), wrong)
        for part in found.parts
    )
    problem = problem_of(error) if error else None
    page = UploadPage(
        frame=_frame(", ".join(file["name"] for file in found.files), f"{BRING_IN.path}/{number}"),
        upload=found,
        parts=parts,
        kinds=tuple(FILES),
        tried=found.tried,
        errors_shown=ERRORS_SHOWN,
        problem=problem,
    )
    return render("upload.html", page, status=problem.status if problem else 200)


def _shown(
    part: UploadedPart,
    kind: str,
    known: Mapping[str, Matching],
    typed: Mapping[str, str],
    wrong: Mapping[str, str],
) -> PartShown:
    lines = lines_of(part, kind, known.get(kind), typed, wrong if typed else {}) if kind else ()
    folded = part.matching is not None and part.kind == kind and not typed
    return PartShown(part, kind, folded, choices_of(part), lines)


def _load_answer(
    request: Request, person: Person, number: int, reason: str = "", problem: Problem | None = None
) -> Response:
    with Session(reading(request.app.state.engine)) as session:
        made = seen_load(session, person, number) if problem is None else load_of(session, number)
    frame = _frame(
        f"Load {number}", f"{BRING_IN.path}/loads/{number}", "What did this load bring, and does it stand?"
    )
    page = LoadPage(frame, made, reason, problem)
    return render("load.html", page, status=problem.status if problem else 200)


def _part(found: Uploaded, place: int) -> UploadedPart:
    for part in found.parts:
        if part.place == place:
            return part
    raise LedgerError(f"this upload has no table {place}; open it again under {BRING_IN.title}")


def _frame(title: str, path: str, question: str = BRING_IN.question) -> Frame:
    return Frame(title=title, question=question, path=path, asked={}, menu=BRING_IN.path)


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)
