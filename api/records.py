"""Records as JSON: entered by kind, read with their versions, corrected and withdrawn under If-Match."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Annotated, Any, Final

from fastapi import APIRouter, Header, HTTPException, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from api.access import LetIn, NotAllowedError, OutsideBaseError, allowed, need, within
from api.writes import KEY_HEADER, Answer, today, write
from db.based import bases_of, bases_written
from db.chain import Act
from db.entry.corrections import Corrected, correct, withdraw
from db.entry.outcome import Flag, Outcome
from db.entry.recorders import recorders
from db.entry.versions import typed_rows
from db.files import ENTERED
from db.lookup import known_by
from db.recorded import Recorded, Version, find_record, read_record
from db.session import reading
from db.sessions import LetIn as Person

router = APIRouter(tags=["records"])

MOST_ROWS: Final = 10_000
MASTERS: Final = ("bases", "aircraft_types", "brake_types", "aircraft", "effectivity", "brakes")
ACTIONS: Final = {
    **dict.fromkeys(MASTERS, "records.import"),
    **dict.fromkeys(("wear_limits", "assumptions"), "assumptions.write"),
    "rulings": "records.rule",
}

Cell = str | int | float | bool | None
Row = dict[str, Cell]
Key = Annotated[
    str, Header(alias=KEY_HEADER, description="a UUID of this write's own; a retry carries the same")
]
Match = Annotated[str, Header(alias="If-Match", description="the ETag of the version that was looked at")]


class Rows(BaseModel):
    """Rows of one kind of record, in the columns of its file."""

    model_config = ConfigDict(extra="forbid")

    rows: Annotated[list[Row], Field(min_length=1, max_length=MOST_ROWS)]


class Correction(BaseModel):
    """Other values for some columns of a record, and why; blank or null is not known."""

    model_config = ConfigDict(extra="forbid")

    reason: Annotated[str, Field(max_length=2_000)]
    values: Row = {}


@dataclass(frozen=True)
class ToldRow:
    """The record that a row is now; `version` is what If-Match names, `new` says that this write made it."""

    row: int
    record: int
    version: str
    new: bool


@dataclass(frozen=True)
class ToldOutcome:
    """
    What became of the rows: added, on record already, completed by an end, held for a second person, and what is odd.

    `records` has the record of each row, also of those that were there before.
    """

    added: int
    same: int
    completed: int
    held: int
    flags: tuple[Flag, ...]
    records: tuple[ToldRow, ...]


@dataclass(frozen=True)
class ToldVersion:
    """A version of a record as JSON has it."""

    record: int
    version: int
    seq: int
    known_on: str
    recorded_at: str
    person: str
    source: str
    withdrawn: bool
    reason: str
    values: Mapping[str, str]


@dataclass(frozen=True)
class ToldRecord:
    """A record as JSON has it; `version` is what If-Match names, `values` are those that stand."""

    kind: str
    record: int
    version: str
    withdrawn: bool
    values: Mapping[str, str]
    versions: tuple[ToldVersion, ...]


@dataclass(frozen=True)
class ToldCorrection(ToldRecord):
    """A record as a correction left it, and what is odd about it."""

    flags: tuple[str, ...]


def action_of(kind: str) -> str:
    """What somebody must be allowed to do to enter records of this kind."""
    return ACTIONS.get(kind, "records.enter")


def _make_entry(kind: str) -> None:
    """One route for each kind, so that each declares its own action."""

    def enter(request: Request, person: LetIn, entered: Row | Rows, key: Key = "") -> Response:
        rows = entered.rows if isinstance(entered, Rows) else [entered]
        told = [_texts(row) for row in rows]
        return write(request, person, key, told, lambda session: _entered(session, person, kind, told))

    router.add_api_route(
        f"/{kind.replace('_', '-')}",
        enter,
        methods=["POST"],
        status_code=201,
        response_model=None,
        responses={200: {"model": ToldOutcome, "description": "nothing new"}, 201: {"model": ToldOutcome}},
        summary=f"Enter {kind.replace('_', ' ')}",
        name=f"enter_{kind}",
        dependencies=[need(action_of(kind))],
    )


for _kind in ENTERED:
    _make_entry(_kind)


@router.get("/records/{number}", dependencies=[need("brakes.read")], responses={200: {"model": ToldRecord}})
def record(request: Request, number: int, person: LetIn) -> Response:
    """A record with all its versions; the ETag names the one that stands."""
    with Session(reading(request.app.state.engine)) as session:
        found = seen_record(session, person, number)
    return Answer(200, told_record(found), {"ETag": f'"{found.tag}"'}).response()


@router.patch(
    "/records/{number}", dependencies=[need("records.correct")], responses={200: {"model": ToldCorrection}}
)
def correct_record(  # noqa: PLR0913, PLR0917 - one argument a part of the request
    request: Request, number: int, person: LetIn, asked: Correction, key: Key = "", match: Match = ""
) -> Response:
    """Correct a record: a new version with these values; a withdrawn record is brought back."""
    version, values = matched(match), _texts(asked.values)
    act = Act(person.name, "api", "correct a record", asked.reason.strip())

    def work(session: Session) -> Answer:
        correctable(session, person, number)
        return corrected(
            session, person, correct(session, act, number, version=version, values=values, today=today())
        )

    return write(request, person, key, [version, asked.reason, values], work)


@router.delete(
    "/records/{number}", dependencies=[need("records.correct")], responses={200: {"model": ToldCorrection}}
)
def withdraw_record(  # noqa: PLR0913, PLR0917 - one argument a part of the request
    request: Request,
    number: int,
    person: LetIn,
    reason: Annotated[str, Query(max_length=2_000)] = "",
    key: Key = "",
    match: Match = "",
) -> Response:
    """Withdraw a record: a last version that says it does not hold."""
    version = matched(match)
    act = Act(person.name, "api", "withdraw a record", reason.strip())

    def work(session: Session) -> Answer:
        correctable(session, person, number)
        return corrected(session, person, withdraw(session, act, number, version=version))

    return write(request, person, key, [version, reason], work)


def seen_record(session: Session, person: Person, number: int) -> Recorded:
    """The record, if it is of this person's bases."""
    _in_sight(session, person, number)
    return read_record(session, number)


def correctable(session: Session, person: Person, number: int) -> None:
    """Refuse the record unless this person may enter such ones: a limit or an aircraft type is not every clerk's."""
    kind = _in_sight(session, person, number)
    if not allowed(person, action_of(kind)):
        raise NotAllowedError(f"{person.role} {person.name!r} does not correct {kind.replace('_', ' ')}")


def _in_sight(session: Session, person: Person, number: int) -> str:
    """The kind of the record, if it is of this person's bases."""
    kind, fact = find_record(session, number)
    check_bases(person, bases_of(session, kind, [fact], on=today()))
    return kind


def check_bases(person: Person, bases: set[str]) -> None:
    """Refuse what is outside this person's bases, as if it were not there."""
    if not all(within(person, base) for base in bases):
        raise OutsideBaseError


def corrected(session: Session, person: Person, done: Corrected) -> Answer:
    """The answer to a correction: the record as it is now, and what is odd about it."""
    check_bases(person, bases_written(session, person.name, done.before_seq, on=today()))
    body = {**told_record(done.record), "flags": [flag.text for flag in done.flags]}
    return Answer(200, body, {"ETag": f'"{done.record.tag}"'})


def told_record(found: Recorded) -> dict[str, Any]:
    """A record as JSON has it."""
    versions = tuple(map(_version, found.versions))
    values = dict(found.now.told)
    return asdict(ToldRecord(found.kind, found.fact, found.tag, found.now.withdrawn, values, versions))


def _version(each: Version) -> ToldVersion:
    return ToldVersion(
        each.record,
        each.version,
        each.seq,
        each.known_on.isoformat(),
        each.recorded_at,
        each.person,
        each.source,
        each.withdrawn,
        each.reason,
        dict(each.told),
    )


def enter_rows(
    session: Session, person: Person, kind: str, told: list[dict[str, str]], *, source: str
) -> Outcome:
    """Enter rows of one kind of record, all of them of this person's bases, or none."""
    before = known_by(session).seq
    act = Act(person.name, source, f"enter {kind.replace('_', ' ')}")
    outcome = recorders()[kind](session, act, typed_rows(kind, told, today=today()))
    check_bases(person, bases_written(session, person.name, before, on=today()))
    return outcome


def _entered(session: Session, person: Person, kind: str, told: list[dict[str, str]]) -> Answer:
    outcome = enter_rows(session, person, kind, told, source="api")
    status = 201 if outcome.added or outcome.completed else 200
    records = tuple(
        ToldRow(each.row, each.record, f"{each.record}-{each.version}", each.new) for each in outcome.records
    )
    counts = (outcome.added, outcome.same, outcome.completed, outcome.held)
    return Answer(status, asdict(ToldOutcome(*counts, outcome.flags, records)))


def _texts(row: Mapping[str, Cell]) -> dict[str, str]:
    """Cells as texts: numbers by their shortest text, yes and no for true and false, nothing for null."""
    words: dict[Any, str] = {None: "", True: "yes", False: "no"}
    return {
        name: words[cell] if cell is None or isinstance(cell, bool) else str(cell)
        for name, cell in row.items()
    }


def matched(match: str) -> str:
    """The version named by If-Match, without its quotes."""
    if not match:
        raise HTTPException(
            428, "a correction names the version that was looked at; send If-Match: the ETag of the record"
        )
    return match.strip().removeprefix("W/").strip('"')
