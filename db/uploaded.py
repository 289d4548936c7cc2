"""What was sent and waits, as its person finds it again, and the offer that it makes to a load."""

import datetime as dt
import json
import zlib
from collections import Counter
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from db.base import table_of
from db.entry.outcome import Flag
from db.errors import NotFoundError, RowError
from db.files import FILES
from db.imports.loading import FileTried, Offer, Tried
from db.imports.matching import Matching, matched, matching_from
from db.imports.source import Source
from db.imports.written import Written, written_from
from db.records.loads import FileSource, Upload, UploadPart
from db.secrets_kept import time_text
from db.uploads.spool import source_of


@dataclass(frozen=True)
class UploadedPart:
    """One table: what it was called, its header and first rows, what it is said to hold, its columns once matched."""

    place: int
    file: str
    sha256: str
    title: str
    header: tuple[str, ...]
    first: tuple[tuple[str, ...], ...]
    rows: int
    kind: str
    matching: Matching | None


@dataclass(frozen=True)
class Uploaded:
    """An upload that waits, and what its last dry run said."""

    number: str
    person: str
    source: str
    written: Written
    sent_at: str
    expires_at: str
    parts: tuple[UploadedPart, ...]
    tried: Tried | None

    @property
    def is_matched(self) -> bool:
        """Whether all tables that are not left out have their columns matched, and there is one."""
        kept = [part for part in self.parts if part.kind]
        return bool(kept) and all(part.matching for part in kept)

    @property
    def files(self) -> tuple[dict[str, str], ...]:
        """Each file with its digest, once."""
        named = {part.file: part.sha256 for part in self.parts}
        return tuple({"name": name, "sha256": digest} for name, digest in named.items())


@dataclass(frozen=True)
class Known:
    """A source that is remembered: the kinds of file matched for it, how they are written, and by whom."""

    name: str
    kinds: tuple[str, ...]
    written: Written
    person: str
    matched_at: str


def upload_of(session: Session, person: str, number: str, *, now: dt.datetime) -> Uploaded:
    """Return an upload of this person; another's is not there."""
    found = session.execute(
        select(table_of(Upload)).where(
            Upload.number == number, Upload.person == person, Upload.expires_at >= time_text(now)
        )
    ).one_or_none()
    if found is None:
        raise NotFoundError("that upload is not there any more; choose the file again under Bring in records")
    return _uploaded(session, found)


def uploads_of(session: Session, person: str, *, now: dt.datetime) -> list[Uploaded]:
    """Return what waits for this person, the latest first."""
    asked = select(table_of(Upload)).where(Upload.person == person, Upload.expires_at >= time_text(now))
    return [_uploaded(session, row) for row in session.execute(asked.order_by(Upload.sent_at.desc())).all()]


def known_sources(session: Session) -> list[Known]:
    """Return the sources that are remembered, by name."""
    found: dict[str, list[Row[Any]]] = {}
    for row in session.execute(select(table_of(FileSource)).order_by(FileSource.name, FileSource.kind)):
        found.setdefault(row.name, []).append(row)
    return [_known(name, rows) for name, rows in found.items()]


def offer_of(session: Session, upload: Uploaded) -> Offer:
    """Return what an upload offers to a load: its tables that are not left out, with our columns."""
    asked = select(UploadPart.place, UploadPart.plain).where(UploadPart.upload == upload.number)
    plain = {row.place: row.plain for row in session.execute(asked)}
    sources = dict[str, Source]()
    errors: list[RowError] = []
    for part in upload.parts:
        if not part.kind or part.matching is None:
            continue
        if part.kind in sources:
            rule, advice = (
                "two tables hold this kind of record",
                "leave one of them out, and load it after the other",
            )
            errors.append(RowError(part.kind, 0, "", part.title, rule, advice))
            continue
        source = source_of(part.title, plain[part.place], part.matching.written)
        sources[part.kind], wrong = matched(part.kind, source, part.matching)
        errors += wrong
    return Offer(tuple(sources[kind] for kind in FILES if kind in sources), tuple(errors))


def _uploaded(session: Session, row: Row[Any]) -> Uploaded:
    columns = [column for column in table_of(UploadPart).columns if column.name != "plain"]
    asked = select(*columns).where(UploadPart.upload == row.number).order_by(UploadPart.place)
    return Uploaded(
        number=row.number,
        person=row.person,
        source=row.source,
        written=written_from(json.loads(row.written)),
        sent_at=row.sent_at,
        expires_at=row.expires_at,
        parts=tuple(map(_part, session.execute(asked))),
        tried=_tried(json.loads(zlib.decompress(row.tried))) if row.tried else None,
    )


def _part(row: Row[Any]) -> UploadedPart:
    return UploadedPart(
        place=row.place,
        file=row.file,
        sha256=row.sha256,
        title=row.title,
        header=tuple(json.loads(row.header)),
        first=tuple(map(tuple, json.loads(row.first))),
        rows=row.rows,
        kind=row.kind,
        matching=matching_from(json.loads(row.matching)) if row.matching else None,
    )


def _tried(told: dict[str, Any]) -> Tried:
    files = [
        FileTried(**{**file, "flags": tuple(Flag(**flag) for flag in file["flags"])})
        for file in told["files"]
    ]
    errors = tuple(RowError(**error) for error in told["errors"])
    return Tried(tuple(files), errors, told["total"], tuple(told["unchecked"]))


def _known(name: str, rows: list[Row[Any]]) -> Known:
    matchings = [matching_from(json.loads(row.matching)) for row in rows]
    usual, _ = Counter(matching.written for matching in matchings).most_common(1)[0]
    latest = max(rows, key=lambda row: str(row.matched_at))
    return Known(name, tuple(row.kind for row in rows), usual, latest.person, latest.matched_at)
