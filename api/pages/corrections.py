"""Corrections: what changed, why, by whom, what followed; and one record with the form that corrects it."""

from dataclasses import dataclass
from typing import Annotated, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, allowed, need, within
from api.errors import Problem, problem_of
from api.loads import sees as load_is_seen
from api.moved import Moves, moves
from api.pages.frame import Frame, render
from api.pages.navigation import CORRECTIONS
from api.pages.proposed import Proposal, proposal_of
from api.records import action_of, check_bases, correctable, seen_record
from api.words import counted, day_of
from api.writes import KEY_FIELD, Answer, asked_in, form_of, today, write
from db.based import bases_of, bases_written
from db.chain import Act
from db.corrections import Change, LoadWithdrawn, changes_before, withdrawn_loads
from db.entry.corrections import RULED_ON, correct, withdraw
from db.errors import LedgerError, NotFoundError, RowError, RowsRefusedError
from db.files import ENTERED
from db.loaded import load_of
from db.lookup import LAST_NUMBER, known_by
from db.recorded import Recorded, read_record
from db.session import reading
from db.sessions import LetIn as Person

router = APIRouter()

ON_A_PAGE: Final = 20
MOVED_SHOWN: Final = 20
VALUE: Final = "value_"  # before the name of a column in the form: a column may be called reason

Typed = Annotated[dict[str, str], Depends(form_of)]


@dataclass(frozen=True)
class ListPage:
    """
    What corrections.html receives; `older` leads on, empty where there is no more.

    Rows that went with a whole load are one line, a `LoadWithdrawn`; `load` is the one that was opened, 0 for none.
    """

    frame: Frame
    answer: str
    lines: tuple[Change | LoadWithdrawn, ...]
    load: int
    older: str


@dataclass(frozen=True)
class Field:
    """One column of the form: as it stands, as typed, the words to choose from, and what is wrong with it."""

    name: str
    now: str
    typed: str
    words: tuple[str, ...]
    error: str


@dataclass(frozen=True)
class RecordPage:
    """
    What correction.html receives; `fields` is empty where this person does not correct such records.

    `proposal` is a line that waits against the record, where the page was opened from it.
    """

    frame: Frame
    record: Recorded
    changes: tuple[Change, ...]
    fields: tuple[Field, ...]
    reason: str
    reason_error: str
    problem: Problem | None
    moves: Moves
    moved_shown: int
    proposal: Proposal | None


@router.get(CORRECTIONS.path, dependencies=[need("brakes.read")])
def corrections(
    request: Request,
    person: LetIn,
    before: Annotated[int | None, Query(ge=0, le=LAST_NUMBER)] = None,
    load: Annotated[int, Query(ge=0, le=LAST_NUMBER)] = 0,
) -> Response:
    """Corrections and withdrawals, the latest first; or the rows that went with one load."""
    with Session(reading(request.app.state.engine)) as session:
        first = LAST_NUMBER if load else known_by(session).seq + 1
        found = _lines(session, first if before is None else before, load)
        seen = tuple(each for each in found if _is_seen(session, person, each))
        if load and not seen and before is None:
            _refuse_load(session, load)
    frame = _frame(CORRECTIONS.title, CORRECTIONS.path)
    older = f"{CORRECTIONS.path}?{_after(found[-1], load)}" if len(found) == ON_A_PAGE else ""
    return render("corrections.html", ListPage(frame, _answer(seen, load), seen, load, older))


def _refuse_load(session: Session, number: int) -> None:
    """Say of a load without withdrawn rows whether there is one; a load of other bases answers as if it stood."""
    load_of(session, number)
    raise NotFoundError(
        f"load {number} was not withdrawn: nothing of it is among the corrections; see all of them"
    )


def _after(line: Change | LoadWithdrawn, load: int) -> str:
    """What the next page is asked: rows of one load go on by their record numbers."""
    if load and isinstance(line, Change):
        return urlencode({"load": load, "before": line.after.record})
    return urlencode({"before": _seq_of(line)})


def _answer(seen: tuple[Change | LoadWithdrawn, ...], load: int) -> str:
    """How many there are, and who was the last."""
    if not seen:
        return "No correction and no withdrawal is on record here."
    last = seen[0]
    if isinstance(last, LoadWithdrawn):
        who, when = last.load.withdrawn_by, last.load.withdrawn_at
    else:
        who, when = last.after.person, last.after.recorded_at
    on = day_of(when)
    if load:
        return f"{counted(len(seen), 'row')} of those that went with load {load}, withdrawn on {on} by {who}."
    return f"{counted(len(seen), 'correction')}, the latest on {on} by {who}."


def _lines(session: Session, seq: int, load: int) -> list[Change | LoadWithdrawn]:
    """A page of them; loads withdrawn whole stand among the others by their place in the log."""
    singly = changes_before(session, seq, most=ON_A_PAGE, load=load or None)
    whole = [] if load else withdrawn_loads(session, seq, most=ON_A_PAGE)
    lines: list[Change | LoadWithdrawn] = [*singly, *whole]
    return sorted(lines, key=_seq_of, reverse=True)[:ON_A_PAGE]


def _seq_of(line: Change | LoadWithdrawn) -> int:
    return line.after.seq if isinstance(line, Change) else line.last_seq


def _is_seen(session: Session, person: Person, line: Change | LoadWithdrawn) -> bool:
    if isinstance(line, LoadWithdrawn):
        return load_is_seen(session, person, line.load)
    return _sees(session, person, line.record)


@router.get(f"{CORRECTIONS.path}/{{number}}", dependencies=[need("brakes.read")])
def record(request: Request, number: int, person: LetIn, moved: str = "", line: str = "") -> Response:
    """
    One record: its versions, what its last correction moved, and the form, with what a waiting `line` proposes.

    What moved takes two studies: it is worked out where it is asked for (`moved`), and shown where they are held.
    """
    return _record_answer(request, person, number, make=bool(moved), line=line)


@router.post(f"{CORRECTIONS.path}/{{number}}", dependencies=[need("records.correct")])
def save(request: Request, number: int, person: LetIn, typed: Typed) -> Response:
    """Correct or withdraw; what was refused comes back with what was typed."""
    reason = typed.get("reason", "").strip()
    withdraws = typed.get("act") == "withdraw"
    act = Act(person.name, "form", "withdraw a record" if withdraws else "correct a record", reason)

    def work(session: Session) -> Answer:
        correctable(session, person, number)
        found = read_record(session, number)
        version = typed.get("version", "")
        if withdraws:
            done = withdraw(session, act, number, version=version)
        else:
            values = _changed(found, typed)
            done = correct(session, act, number, version=version, values=values, today=today())
        check_bases(person, bases_written(session, person.name, done.before_seq, on=today()))
        return Answer(303, to=f"{CORRECTIONS.path}/{found.fact}#moved")

    try:
        return write(request, person, typed.get(KEY_FIELD, ""), asked_in(typed), work)
    except LedgerError as error:
        return _record_answer(request, person, number, typed=typed, error=error, line=typed.get("line", ""))


def _changed(found: Recorded, typed: dict[str, str]) -> dict[str, str]:
    """Columns that were typed over; against the version looked at, which is the one that stands or is refused."""
    sent = {name[len(VALUE) :]: text.strip() for name, text in typed.items() if name.startswith(VALUE)}
    return {name: text for name, text in sent.items() if text != found.now.told.get(name, "")}


def _record_answer(  # noqa: PLR0913 - what was typed and refused, and whether studies are made
    request: Request,
    person: Person,
    number: int,
    *,
    typed: dict[str, str] | None = None,
    error: LedgerError | None = None,
    make: bool = False,
    line: str = "",
) -> Response:
    engine = request.app.state.engine
    with Session(reading(engine)) as session:
        found = seen_record(session, person, number)
        proposal = proposal_of(session, person, found, line)
    if typed is None:
        typed = {VALUE + name: text for name, text in proposal.values.items()} if proposal else {}
    problem = problem_of(error) if error else None
    wrong = {each.column: each for each in error.errors} if isinstance(error, RowsRefusedError) else {}
    pairs = tuple(zip(found.versions[:-1], found.versions[1:], strict=True))
    page = RecordPage(
        frame=_frame(
            f"{ENTERED[found.kind].name.replace('_', ' ').capitalize()}, record {found.fact}",
            request.url.path,
        ),
        record=found,
        changes=tuple(Change(found, *pair) for pair in reversed(pairs)),
        fields=_fields(found, typed, wrong) if allowed(person, action_of(found.kind)) else (),
        reason=typed.get("reason", ""),
        reason_error=_told(wrong.get("reason")),
        problem=problem,
        moves=_moves(request, found, make=make) if not problem else Moves(),
        moved_shown=MOVED_SHOWN,
        proposal=proposal,
    )
    return render("correction.html", page, status=problem.status if problem else 200)


def _fields(found: Recorded, typed: dict[str, str], wrong: dict[str, RowError]) -> tuple[Field, ...]:
    file = ENTERED[found.kind]
    columns = [name for name in found.now.told if name != RULED_ON.get(found.kind)]
    if found.kind == "rulings":
        return ()
    return tuple(
        Field(
            name,
            found.now.told[name],
            typed.get(VALUE + name, found.now.told[name]),
            column.words if (column := file.column(name)) else (),
            _told(wrong.get(name)),
        )
        for name in columns
    )


def _moves(request: Request, found: Recorded, *, make: bool) -> Moves:
    if len(found.versions) == 1:
        return Moves()
    seq, state = found.now.seq, request.app.state
    return moves(state.engine, before_seq=seq - 1, seq=seq, seed=state.settings.seed, make=make)


def _told(error: RowError | None) -> str:
    return f"{error.rule}; {error.suggestion}" if error else ""


def _sees(session: Session, person: Person, found: Recorded) -> bool:
    return all(within(person, base) for base in bases_of(session, found.kind, [found.fact], on=today()))


def _frame(title: str, path: str) -> Frame:
    return Frame(title=title, question=CORRECTIONS.question, path=path, asked={}, menu=CORRECTIONS.path)
