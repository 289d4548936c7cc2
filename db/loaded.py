"""Loads that were made: which files, by whom, what became of their rows, and whether they were withdrawn."""

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.errors import NotFoundError
from db.lookup import LAST_NUMBER
from db.records.loads import FileLoad, LoadWithdrawal


@dataclass(frozen=True)
class LoadedFile:
    """A file of a load and the SHA-256 of its bytes."""

    name: str
    sha256: str


@dataclass(frozen=True)
class LoadedKind:
    """What became of the rows of one kind of record."""

    kind: str
    added: int
    same: int
    completed: int
    held: int


@dataclass(frozen=True)
class LoadMade:
    """A load; `withdrawn_by` is empty where it stands."""

    number: int
    person: str
    loaded_at: str
    way: str
    source: str
    files: tuple[LoadedFile, ...]
    kinds: tuple[LoadedKind, ...]
    first_seq: int
    last_seq: int
    withdrawn_by: str
    withdrawn_at: str
    reason: str

    @property
    def rows(self) -> int:
        """How many rows it added or completed."""
        return sum(kind.added + kind.completed for kind in self.kinds)


def load_of(session: Session, number: int) -> LoadMade:
    """Return one load."""
    asked = _every().where(FileLoad.number == number)
    found = session.execute(asked).one_or_none() if 0 < number <= LAST_NUMBER else None
    if found is None:
        raise NotFoundError(f"no load has the number {number}; look it up in the list of loads")
    return _made(found)


def loads_before(session: Session, number: int | None, *, most: int) -> list[LoadMade]:
    """Return loads with a lower number (None: from the last), the latest first."""
    asked = _every() if number is None else _every().where(FileLoad.number < number)
    return [_made(row) for row in session.execute(asked.order_by(FileLoad.number.desc()).limit(most))]


def _every() -> Any:  # noqa: ANN401 - a select of two tables side by side
    joined = select(FileLoad, LoadWithdrawal)
    return joined.join(LoadWithdrawal, LoadWithdrawal.load == FileLoad.number, isouter=True)


def _made(row: Any) -> LoadMade:  # noqa: ANN401 - a row of the two tables
    load, withdrawal = row
    kinds = json.loads(load.kinds)
    return LoadMade(
        number=load.number,
        person=load.person,
        loaded_at=load.loaded_at,
        way=load.way,
        source=load.source,
        files=tuple(LoadedFile(**file) for file in json.loads(load.files)),
        kinds=tuple(LoadedKind(kind, **counts) for kind, counts in kinds.items()),
        first_seq=load.first_seq,
        last_seq=load.last_seq,
        withdrawn_by=withdrawal.person if withdrawal else "",
        withdrawn_at=withdrawal.withdrawn_at if withdrawal else "",
        reason=withdrawal.reason if withdrawal else "",
    )
