"""
Whether the ledger is what was written: the chain's links, earlier heads, and the tables rebuilt from the log.

It shows tampering with the database. It cannot show false data that was truthfully logged, nor, without an earlier
head kept elsewhere, that the newest changes were cut off.
"""

import json
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Row, Table, func, or_, select
from sqlalchemy.orm import Session

from db.anchors import Anchor
from db.awaited import Awaited, Verified
from db.base import Fact, table_of
from db.chain import FIRST_HASH, change_hash, unpacked
from db.compared import compare_loads
from db.errors import BrokenChainError
from db.lookup import current
from db.plain import logged
from db.records.brakes import Installation, Occupancy, Removal
from db.records.log import ChainHead, Change

__all__ = ["FACTS", "Verified", "verify", "verify_against"]

BATCH: Final = 20  # changes at a time; of a bulk load each holds thousands of facts
FACTS: Final[dict[str, Table]] = {model.__tablename__: table_of(model) for model in Fact.__subclasses__()}


@dataclass(frozen=True)
class Link:
    """One change whose link in the chain holds."""

    seq: int
    hash: str
    facts: int
    body: dict[str, Any]


def verify(
    session: Session,
    *anchors: Anchor | Verified,
    rebuild: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Verified:
    """Check every link, and every anchor that is given; `rebuild` also compares tables (`db.compared`) with the log."""
    return verify_against(session, Awaited(anchors), rebuild=rebuild, progress=progress)


def verify_against(
    session: Session,
    awaited: Awaited,
    *,
    rebuild: bool = False,
    progress: Callable[[int], None] | None = None,
) -> Verified:
    """Check every link and the anchors that are awaited, which then know where the latest of them stands."""
    found = Verified(0, FIRST_HASH, 0)
    awaited.meet(found)
    per_table: Counter[str] = Counter()
    for batch in _links(session):
        for link in batch:
            found = Verified(found.facts + link.facts, link.hash, link.seq)
            awaited.meet(found)
        if rebuild:
            per_table.update(_compare(session, batch))
        if progress is not None:
            progress(found.facts)
    _check_head(session, found.seq, found.head, found.facts)
    awaited.end(found)
    if rebuild:
        _no_others(session, found.seq, per_table)
        _compare_occupancy(session)
        compare_loads(session)
    return found


def _links(session: Session) -> Iterator[list[Link]]:
    """Changes in order, each checked against the one before."""
    previous, hash_ = 0, FIRST_HASH
    rows = session.execute(select(table_of(Change)).order_by(Change.seq).execution_options(yield_per=BATCH))
    for batch in rows.partitions(BATCH):
        links = []
        for row in batch:
            if row.seq != previous + 1:
                raise BrokenChainError(
                    previous + 1, f"the change is missing; the next on record is {row.seq}"
                )
            links.append(_link(row, hash_))
            previous, hash_ = row.seq, row.hash
        yield links


def _link(row: Row[Any], previous: str) -> Link:
    try:
        body = unpacked(row.body)
    except (zlib.error, ValueError, TypeError) as error:
        raise BrokenChainError(row.seq, f"the kept bytes cannot be read ({error})") from None
    if row.previous != previous:
        raise BrokenChainError(row.seq, "it does not follow the change before")
    if row.hash != change_hash(row.seq, previous, body):
        raise BrokenChainError(row.seq, "its bytes do not have its hash")
    log = json.loads(body)
    facts = sum(len(part["columns"]["id"]) for part in log["facts"])
    wanted = {**log, "facts": facts, "recorded_on": log["recorded_at"][:10]}
    for column in ("recorded_at", "recorded_on", "person", "source", "act", "facts"):
        if str(getattr(row, column)) != str(wanted[column]):
            raise BrokenChainError(
                row.seq, f"{column} is {getattr(row, column)}, the log says {wanted[column]}"
            )
    return Link(row.seq, row.hash, facts, log)


def _check_head(session: Session, seq: int, hash_: str, record: int) -> None:
    heads = session.execute(select(ChainHead.seq, ChainHead.hash, ChainHead.record)).all()
    if [tuple(head) for head in heads] != [(seq, hash_, record)]:
        raise BrokenChainError(seq + 1, f"the chain's head is not the last change on record, {seq}")


def _compare(session: Session, batch: list[Link]) -> Counter[str]:
    """Compare the rows of these changes, table by table, with what the log says; give the rows of each table."""
    expected: dict[str, list[tuple[Any, ...]]] = {name: [] for name in FACTS}
    for link in batch:
        for part in link.body["facts"]:
            length = len(part["columns"]["id"])
            columns = {**part["columns"], "seq": [link.seq] * length}
            names = FACTS[part["table"]].columns.keys()
            # A column that a later schema added is blank in what was written before it.
            blank = [None] * length
            expected[part["table"]] += zip(*(columns.get(name, blank) for name in names), strict=True)
    broken = [
        seq
        for name, rows in expected.items()
        if (seq := _first_difference(session, FACTS[name], rows, batch[0].seq, batch[-1].seq)) is not None
    ]
    if broken:
        raise BrokenChainError(min(broken), "a table does not hold what the log says was written")
    return Counter({name: len(rows) for name, rows in expected.items()})


def _first_difference(
    session: Session, table: Table, expected: list[tuple[Any, ...]], first: int, last: int
) -> int | None:
    between = table.c.seq.between(first, last)
    try:
        rows = session.execute(select(table).where(between).order_by(table.c.seq, table.c.id)).all()
    except (ValueError, TypeError) as error:
        # SQLite keeps text where a day belongs.
        raise BrokenChainError(
            first, f"{table.name} from here on holds a value of another kind ({error})"
        ) from error
    names = table.columns.keys()
    columns = zip(*rows, strict=True) if rows else ([] for _ in names)
    found = list(
        zip(*(logged(table.c[name], list(c)) for name, c in zip(names, columns, strict=True)), strict=True)
    )
    if found == expected:
        return None
    shorter = min(len(found), len(expected))
    place = next((i for i in range(shorter) if found[i] != expected[i]), shorter)
    return int(min(row[names.index("seq")] for rows in (found, expected) for row in rows[place : place + 1]))


def _no_others(session: Session, last: int, per_table: Counter[str]) -> None:
    for name, table in FACTS.items():
        stray = or_(table.c.seq > last, table.c.seq < 1)
        found, strays = session.execute(
            select(func.count(), func.count().filter(stray)).select_from(table)
        ).one()
        if found != per_table[name] or strays:
            raise BrokenChainError(last + 1, f"{name} holds {found} rows, the log {per_table[name]}")


def _compare_occupancy(session: Session) -> None:
    """Where each brake is must be what its installation and removal say."""
    removals = current(Removal).subquery()
    said = current(Installation).add_columns(removals.c.removed_on)
    said = said.outerjoin(removals, removals.c.installation == Installation.fact)
    expected = {
        row.fact: (row.seq, (row.brake, row.aircraft, row.position, row.installed_on, row.removed_on))
        for row in session.execute(said)
    }
    found = {row.installation: tuple(row)[1:] for row in session.execute(select(table_of(Occupancy)))}
    wrong = [seq for fact, (seq, where) in expected.items() if found.get(fact) != where]
    extra = found.keys() - expected.keys()
    if wrong or extra:
        raise BrokenChainError(
            min(wrong, default=0),
            f"occupancy is not what the log says ({len(wrong)} wrong or missing, {len(extra)} too many)",
        )
