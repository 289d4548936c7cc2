"""Bringing files in by the web, for the page and for programs: opened apart, tried, loaded, withdrawn."""

import datetime as dt
import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.datastructures import UploadFile

from api.access import NotAllowedError, OutsideBaseError, allowed, within
from api.records import action_of
from api.writes import today
from db.based import bases_of
from db.chain import Act
from db.entry.loads import remember_load, withdraw_load
from db.entry.uploads import Sent, drop_upload, keep_tried, keep_upload
from db.errors import LedgerError, RowError, RowsRefusedError
from db.imports.loading import Tried, load, try_load
from db.imports.written import Written, written_from
from db.loaded import LoadMade, load_of
from db.recorded import KINDS
from db.sessions import LetIn as Person
from db.uploaded import Uploaded, offer_of
from db.uploads.apart import read_apart
from db.uploads.limits import MIB, MOST_BYTES
from db.uploads.spool import Part

FILES_AT_ONCE: Final = 25
LONGEST_NAME: Final = 120
ASKED_AT_ONCE: Final = 5_000


@dataclass(frozen=True)
class SentFile:
    """A file as it was sent: its name, made harmless, and its bytes."""

    name: str
    content: bytes

    @property
    def sha256(self) -> str:
        """The digest of its bytes."""
        return hashlib.sha256(self.content).hexdigest()


@dataclass(frozen=True)
class SentForm:
    """A form with files: its fields as typed, the first of each name, and the files."""

    fields: dict[str, str]
    files: tuple[SentFile, ...]

    @property
    def asked(self) -> list[list[str]]:
        """What tells one set of files from another."""
        return [[file.name, file.sha256] for file in self.files]


async def sent_form(request: Request) -> SentForm:
    """The fields and files of a form, a dependency; a field of files left empty gives none."""
    sent = await request.form()
    fields = {name: value for name, value in sent.items() if isinstance(value, str)}
    files = [value for _, value in sent.multi_items() if isinstance(value, UploadFile) and value.filename]
    read = [SentFile(_harmless(each.filename), await each.read()) for each in files]
    await sent.close()
    return SentForm(fields, tuple(read))


def written_in(fields: dict[str, str]) -> Written:
    """How the files are written, in the words of a form."""
    return written_from({name: fields.get(name, "") for name in ("encoding", "separator", "decimal", "days")})


def receive(session: Session, person: Person, files: Sequence[Sent], *, source: str, written: Written) -> str:
    """Keep what was opened for this person, and return its number."""
    now = dt.datetime.now(dt.UTC)
    return keep_upload(session, person.name, files, source=source.strip(), written=written, now=now)


def opened(files: Sequence[SentFile], written: Written) -> list[Sent]:
    """Open each file apart; what is refused as a whole refuses all, with every reason."""
    if not files:
        raise RowsRefusedError((RowError("", 0, "", "", "no file was chosen", "choose at least one file"),))
    if len(files) > FILES_AT_ONCE:
        rule, advice = f"{len(files)} files are too many", f"send at most {FILES_AT_ONCE} at once"
        raise RowsRefusedError((RowError("", 0, "", "", rule, advice),))
    if sum(len(file.content) for file in files) > MOST_BYTES:
        rule = f"the files together are larger than {MOST_BYTES // MIB} MiB"
        advice = "send them one after the other, or have them brought in by command line"
        raise RowsRefusedError((RowError("", 0, "", "", rule, advice),))
    found = [(file, item) for file in files for item in read_apart(file.name, file.content, written)]
    errors = tuple(item for _, item in found if isinstance(item, RowError))
    if errors:
        raise RowsRefusedError(errors)
    if not found:
        advice = "choose the files or the workbook that hold the records"
        raise RowsRefusedError((RowError("", 0, "", "", "a README holds no records", advice),))
    return [Sent(file.name, file.sha256, item) for file, item in found if isinstance(item, Part)]


def dry_run(session: Session, person: Person, upload: Uploaded) -> Tried:
    """What a load would do, kept with the upload; nothing of it stays in the ledger."""
    check_kinds(person, [part.kind for part in upload.parts if part.kind])
    tried = try_load(
        session,
        offer_of(session, upload),
        _act(person, upload, "form"),
        approved=False,
        today=today(),
        also=_outside(person),
    )
    keep_tried(session, upload.number, tried)
    return tried


def load_upload(session: Session, person: Person, upload: Uploaded, *, way: str) -> int | None:
    """Load an upload whole: the number of the load, None where all of it was on record; refused with every error."""
    check_kinds(person, [part.kind for part in upload.parts if part.kind])
    act = _act(person, upload, way)
    offer = offer_of(session, upload)
    loaded = load(session, offer, act, approved=False, today=today(), also=_outside(person))
    drop_upload(session, upload.number)
    return remember_load(session, act, loaded, files=upload.files, source=upload.source)


def take_back(session: Session, person: Person, number: int, reason: str, *, way: str) -> int:
    """Withdraw a load whole and return how many records that were."""
    seen_load(session, person, number)
    act = Act(person.name, f"{way} load {number}", "withdraw a load", reason.strip())
    return withdraw_load(session, act, number)


def seen_load(session: Session, person: Person, number: int) -> LoadMade:
    """A load, if all that it brought is of this person's bases."""
    made = load_of(session, number)
    if not sees(session, person, made):
        raise OutsideBaseError
    return made


def sees(session: Session, person: Person, made: LoadMade) -> bool:
    """Whether all that a load brought is of this person's bases."""
    return not any(True for _ in _foreign(session, person, made.first_seq, made.last_seq))


def check_kinds(person: Person, kinds: Iterable[str]) -> None:
    """Refuse kinds of record that this person does not enter otherwise either."""
    refused = [kind for kind in kinds if not allowed(person, action_of(kind))]
    if refused:
        told = ", ".join(kind.replace("_", " ") for kind in refused)
        where = f" of {', '.join(person.bases)}" if person.bases else ""
        raise NotAllowedError(f"{person.role} {person.name!r}{where} does not enter {told}; leave them out")


def _act(person: Person, upload: Uploaded, way: str) -> Act:
    names = ", ".join(file["name"] for file in upload.files)
    return Act(person.name, f"{way} {names}", "import")


def _outside(person: Person) -> Any:  # noqa: ANN401 - a last look, as the load takes one
    def look(session: Session, first_seq: int) -> Iterator[RowError]:
        for kind in _foreign(session, person, first_seq, None):
            rule = f"holds records outside your bases ({', '.join(person.bases)})"
            yield RowError(
                kind, 0, "", "", rule, "leave their rows out, or have somebody of that base bring them in"
            )

    return look


def _foreign(session: Session, person: Person, first: int, last: int | None) -> Iterator[str]:
    """Kinds of which records written by these changes lie outside this person's bases."""
    if not person.bases:
        return
    for kind, model in KINDS.items():
        written = select(model.fact).where(model.seq >= first)
        facts = session.scalars(written if last is None else written.where(model.seq <= last)).all()
        parts = (facts[at : at + ASKED_AT_ONCE] for at in range(0, len(facts), ASKED_AT_ONCE))
        if not all(
            within(person, base) for part in parts for base in bases_of(session, kind, part, on=today())
        ):
            yield kind


def _harmless(name: str | None) -> str:
    """The last part of a file's name, without what cannot be shown or passed on."""
    plain = (name or "").replace("\\", "/").rpartition("/")[2]
    shown = "".join(character for character in plain if character.isprintable())
    return shown[-LONGEST_NAME:].lstrip("-") or "file"


def refused(error: LedgerError) -> tuple[RowError, ...]:
    """The errors of a refusal, in rows or as one."""
    if isinstance(error, RowsRefusedError):
        return error.errors
    return (RowError("", 0, "", "", str(error), ""),)
