"""What is taken as given and waits for or has a second person's word: assumptions and wear limits."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import select, true
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.recorded import Recorded, Version, read_records
from db.records.economics import AssumptionEntry
from db.records.fleet import WearLimit

APPROVED: Final[dict[str, type[Fact]]] = {"wear_limits": WearLimit, "assumptions": AssumptionEntry}


@dataclass(frozen=True)
class Given:
    """
    One assumption or limit.

    `in_force` is the version that was approved last, None where none was; `waits` where a later version, or the first,
    waits for somebody else; `by` are those who wrote what waits, and cannot approve it.
    """

    record: Recorded
    in_force: Version | None
    waits: bool
    by: frozenset[str]


def given_of(session: Session, kind: str) -> list[Given]:
    """Return all of one kind that is not withdrawn, in the order of its record numbers."""
    table = table_of(APPROVED[kind])
    approved = set(session.scalars(select(table.c.id).where(table.c.approved)))
    return [
        _given(record, approved) for record in read_records(session, kind, true()) if not record.now.withdrawn
    ]


def given(session: Session, record: Recorded) -> Given:
    """Return one record as given; it may be withdrawn."""
    model: type[Fact] = APPROVED[record.kind]
    table = table_of(model)
    approved = session.scalars(select(table.c.id).where(table.c.fact == record.fact, table.c.approved))
    return _given(record, set(approved))


def _given(record: Recorded, approved: set[int]) -> Given:
    places = [at for at, each in enumerate(record.versions) if each.record in approved]
    last = places[-1] if places else None
    after = record.versions[last + 1 if last is not None else 0 :]
    in_force = record.versions[last] if last is not None else None
    return Given(record, in_force, bool(after), frozenset(each.person for each in after))
