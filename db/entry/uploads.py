"""
Files sent and not loaded yet: kept for the person who sent them, in the ledger's database but in none of its records.

Several processes serve one person in turn, so nothing of an upload lives in the memory of one of them.
"""

import datetime as dt
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Final

from sqlalchemy import delete, insert, select, update
from sqlalchemy.orm import Session

from db.base import table_of
from db.files import FILES
from db.imports.loading import Tried
from db.imports.matching import Matching, checked_matching, matching_from, proposed
from db.imports.written import Written
from db.records.loads import FileSource, Upload, UploadPart
from db.secrets_kept import new_secret, time_text
from db.uploads.spool import Part

KEPT_FOR: Final = dt.timedelta(hours=24)
MOST_WAITING: Final = 5  # uploads a person; the oldest make room


@dataclass(frozen=True)
class Sent:
    """One table of a file that was sent."""

    file: str
    sha256: str
    part: Part


def keep_upload(  # noqa: PLR0913 - what was sent, by whom, and how it is written
    session: Session, person: str, sent: Sequence[Sent], *, source: str, written: Written, now: dt.datetime
) -> str:
    """Keep what was sent and return its number; a table named or matched as before is taken for that kind."""
    forget_uploads(session, person, now=now)
    number = new_secret()[:16]
    session.execute(
        insert(table_of(Upload)),
        {
            "number": number,
            "person": person,
            "source": source,
            "written": json.dumps(asdict(written)),
            "sent_at": time_text(now),
            "expires_at": time_text(now + KEPT_FOR),
            "tried": None,
        },
    )
    known = matchings_of(session, source)
    rows = [_row(number, place, each, known, written) for place, each in enumerate(sent)]
    session.execute(insert(table_of(UploadPart)), rows)
    return number


def matchings_of(session: Session, source: str) -> dict[str, Matching]:
    """Return how the columns of each kind of file of a source were matched last."""
    found = session.execute(
        select(FileSource.kind, FileSource.matching)
        .where(FileSource.name == source)
        .order_by(FileSource.kind)
    )
    return {kind: matching_from(json.loads(told)) for kind, told in found} if source else {}


def kind_of(title: str, header: Sequence[str], known: Mapping[str, Matching]) -> str:
    """Return the kind that a title says, or that a file of this source with such a header had before."""
    if title in FILES:
        return title
    names = {name.strip(" ") for name in header}
    alike = [
        kind
        for kind, each in known.items()
        if {theirs for theirs, our in each.columns.items() if our} <= names
    ]
    return alike[0] if len(alike) == 1 else ""


def match_part(  # noqa: PLR0913 - which table, what it holds, and who says so
    session: Session, number: str, place: int, kind: str, matching: Matching, *, person: str, now: dt.datetime
) -> None:
    """Say what a table holds and match its columns (no kind: it is left out); a named source remembers it."""
    which = (UploadPart.upload == number, UploadPart.place == place)
    told = ""
    if kind:
        checked = checked_matching(kind, matching)
        told = json.dumps(checked.told())
        source = session.scalars(select(Upload.source).where(Upload.number == number)).one()
        if source:
            _remember(session, source, kind, told, person=person, now=now)
    session.execute(update(UploadPart).where(*which).values(kind=kind, matching=told))
    session.execute(update(Upload).where(Upload.number == number).values(tried=None))


def keep_tried(session: Session, number: str, tried: Tried) -> None:
    """Keep what a dry run said, to be shown by whichever process is asked."""
    packed = zlib.compress(json.dumps(asdict(tried)).encode())
    session.execute(update(Upload).where(Upload.number == number).values(tried=packed))


def drop_upload(session: Session, number: str) -> None:
    """Throw an upload away."""
    session.execute(delete(UploadPart).where(UploadPart.upload == number))
    session.execute(delete(Upload).where(Upload.number == number))


def forget_uploads(session: Session, person: str, *, now: dt.datetime) -> None:
    """Throw away what has expired, and the oldest of a person who has many waiting."""
    old = select(Upload.number).where(Upload.expires_at < time_text(now))
    mine = select(Upload.number).where(Upload.person == person).order_by(Upload.sent_at.desc(), Upload.number)
    for number in {*session.scalars(old), *session.scalars(mine.offset(MOST_WAITING - 1))}:
        drop_upload(session, number)


def _row(
    number: str, place: int, sent: Sent, known: Mapping[str, Matching], written: Written
) -> dict[str, str | int | bytes]:
    kind = kind_of(sent.part.title, sent.part.header, known)
    matching = _matching(kind, sent.part, known, written) if kind else None
    return {
        "upload": number,
        "place": place,
        "file": sent.file,
        "sha256": sent.sha256,
        "title": sent.part.title,
        "header": json.dumps(sent.part.header),
        "first": json.dumps(sent.part.first),
        "rows": sent.part.rows,
        "kind": kind,
        "matching": json.dumps(matching.told()) if matching else "",
        "plain": sent.part.plain,
    }


def _matching(kind: str, part: Part, known: Mapping[str, Matching], written: Written) -> Matching | None:
    """Return the matching where nothing is left to say: as before, or all columns carry our own names."""
    header = [name.strip(" ") for name in part.header]
    if before := known.get(kind):
        new = set(filter(None, header)) - set(before.columns)
        return None if new else Matching(before.columns, before.units, before.constants, written)
    file = FILES[kind]
    if all(name and file.column(name) for name in header):
        return Matching(proposed(file, header, None), written=written)
    return None


def _remember(  # noqa: PLR0913 - the same, handed on
    session: Session, source: str, kind: str, told: str, *, person: str, now: dt.datetime
) -> None:
    values = {"matching": told, "person": person, "matched_at": time_text(now)}
    which = (FileSource.name == source, FileSource.kind == kind)
    if session.execute(select(FileSource.kind).where(*which)).first():
        session.execute(update(FileSource).where(*which).values(**values))
    else:
        session.execute(insert(table_of(FileSource)), {"name": source, "kind": kind, **values})
