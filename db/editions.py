"""Editions as they were frozen: each with who froze it, its entry in the log, and why it was withdrawn if it was."""

import datetime as dt
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Row, Select, select
from sqlalchemy.orm import Session

from db.errors import NotFoundError
from db.lookup import LAST_NUMBER, Known
from db.records.editions import EditionEntry
from db.records.log import Change

# All but what it showed, which is long.
LISTED: Final = tuple(
    getattr(EditionEntry, name)
    for name in (
        *("fact", "version", "withdrawn", "reason", "title", "from_type", "to_type", "study"),
        *("forecast_on", "records_known_on", "records_head", "seed"),
    )
)


@dataclass(frozen=True)
class Edition:
    """
    One edition.

    `number` is its record number, `version` its tag for a withdrawal; `seq` and `entry` are the sequence number and
    the hash of the change that froze it, `frozen_source` the way that came, `records_head` the head of the log that its
    study read.
    """

    number: int
    version: str
    title: str
    from_type: str
    to_type: str
    study: str
    forecast_on: dt.date
    records_known_on: dt.date
    records_head: str
    seed: int
    frozen_by: str
    frozen_at: str
    frozen_source: str
    seq: int
    entry: str
    withdrawn_by: str = ""
    withdrawn_at: str = ""
    reason: str = ""


def editions(session: Session, known: Known | None = None) -> list[Edition]:
    """Every edition, withdrawn ones too, the latest first."""
    found: dict[int, Edition] = {}
    for row in session.execute(_versions(known)):
        found[row.fact] = _withdrawn(found[row.fact], row) if row.withdrawn else _frozen(row)
    return sorted(found.values(), key=lambda each: -each.number)


def edition(session: Session, number: int) -> Edition:
    """The edition of this number."""
    if 0 < number <= LAST_NUMBER:
        rows = session.execute(_versions().where(EditionEntry.fact == number)).all()
        if rows:
            return _withdrawn(_frozen(rows[0]), rows[-1]) if rows[-1].withdrawn else _frozen(rows[0])
    raise NotFoundError(f"no edition has the number {number}; the list under Editions has them all")


def shown_in(session: Session, number: int) -> str:
    """What an edition showed: the JSON text that was frozen."""
    frozen = select(EditionEntry.shown).where(EditionEntry.fact == number, EditionEntry.version == 1)
    return session.scalars(frozen).one()


def _versions(known: Known | None = None) -> Select[Any]:
    told = (Change.seq, Change.person, Change.recorded_at, Change.source, Change.hash)
    found = select(*LISTED, *told).join(Change, Change.seq == EditionEntry.seq)
    if known is not None:
        found = found.where(EditionEntry.seq <= known.seq, EditionEntry.known_on <= known.day)
    return found.order_by(EditionEntry.fact, EditionEntry.version)


def _frozen(row: Row[Any]) -> Edition:
    return Edition(
        number=row.fact,
        version=f"{row.fact}-{row.version}",
        title=row.title,
        from_type=row.from_type,
        to_type=row.to_type,
        study=row.study,
        forecast_on=row.forecast_on,
        records_known_on=row.records_known_on,
        records_head=row.records_head,
        seed=row.seed,
        frozen_by=row.person,
        frozen_at=row.recorded_at,
        frozen_source=row.source,
        seq=row.seq,
        entry=row.hash,
    )


def _withdrawn(frozen: Edition, row: Row[Any]) -> Edition:
    return Edition(
        **{
            **vars(frozen),
            "version": f"{row.fact}-{row.version}",
            "withdrawn_by": row.person,
            "withdrawn_at": row.recorded_at,
            "reason": row.reason or "",
        }
    )
