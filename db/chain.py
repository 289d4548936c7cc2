"""
The one way facts reach the tables: appended in commit order, each change linked to the one before by its hash.

The lock on the chain's head is taken here, after all that can be checked without it, and held to the commit.
"""

import datetime as dt
import hashlib
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Table, insert, select, update
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.canonical import canonical
from db.conflicts import conflicts_in_words
from db.errors import SchemaError
from db.plain import Columns, Rows, logged, plain_columns, rows_of
from db.records.log import ChainHead, Change

FACTS_PER_CHANGE: Final = 5_000
TAG: Final = b"pinledger change 1\n"
FIRST_HASH: Final = "0" * 64


@dataclass(frozen=True)
class Act:
    """
    Who does what, where it came from ("form", "import landings.csv"), and for a correction why.

    `from_file`: the rows are a file's, which may be older than what was withdrawn since.
    """

    person: str
    source: str
    act: str
    reason: str | None = None
    from_file: bool = False


@dataclass(frozen=True)
class Appended:
    """Record numbers given, one range for each table handed in, and the sequence numbers of the changes."""

    records: tuple[range, ...]
    changes: range


@dataclass(frozen=True)
class Head:
    """Where the chain stands."""

    seq: int
    record: int
    hash: str


def append(
    session: Session,
    act: Act,
    rows: Sequence[tuple[type[Fact], Rows]],
    *,
    progress: Callable[[int], None] | None = None,
) -> Appended:
    """
    Append facts: give record and sequence numbers, write them and the log, move the head.

    Rows are columns of the model, as dicts or as a frame. `fact`, `version`, `supersedes`, `withdrawn`, `known_on` and
    `reason` may be given; otherwise a row is the first version of a new fact, known today.
    """
    session.flush()
    head = locked_head(session)
    now = dt.datetime.now(dt.UTC)
    tables = [(table_of(model), plain_columns(table_of(model), given)) for model, given in rows]
    records = _number(tables, head.record, known_on=now.date(), reason=act.reason)
    seq, hash_, done = head.seq, head.hash, 0
    for parts in _changes(tables):
        seq += 1
        hash_ = _write(session, act, parts, seq=seq, previous=hash_, now=now)
        done += sum(_length(columns) for _, columns in parts)
        if progress is not None:
            progress(done)
    session.execute(update(table_of(ChainHead)).values(seq=seq, record=head.record + done, hash=hash_))
    return Appended(records, range(head.seq + 1, seq + 1))


def change_hash(seq: int, previous: str, body: bytes) -> str:
    """SHA-256 over the domain tag, the sequence number, the hash before and the change's canonical bytes."""
    return hashlib.sha256(TAG + seq.to_bytes(8, "big") + bytes.fromhex(previous) + body).hexdigest()


def packed(body: bytes) -> bytes:
    """Compress bytes for keeping; the checksum also covers the few bits that decompression does not look at."""
    kept = zlib.compress(body)
    return kept + zlib.crc32(kept).to_bytes(4, "big")


def unpacked(kept: bytes) -> bytes:
    """Return the bytes that were kept; ValueError or zlib.error if they were touched."""
    if zlib.crc32(kept[:-4]) != int.from_bytes(kept[-4:], "big"):
        raise ValueError("the checksum is wrong")
    return zlib.decompress(kept[:-4])


def locked_head(session: Session) -> Head:
    """Return where the chain stands, and hold it there until the transaction ends."""
    # On SQLite the transaction began IMMEDIATE and holds the only write lock already.
    found = session.execute(
        select(ChainHead.seq, ChainHead.record, ChainHead.hash).with_for_update()
    ).one_or_none()
    if found is None:
        raise SchemaError("the chain has no head; wanted the one row that `pinledger migrate` makes")
    return Head(found.seq, found.record, found.hash)


def _number(
    tables: list[tuple[Table, Columns]], last: int, *, known_on: dt.date, reason: str | None
) -> tuple[range, ...]:
    ranges = []
    for _, columns in tables:
        records = range(last + 1, last + 1 + _length(columns))
        last += len(records)
        columns["id"] = list(records)
        columns["fact"] = [fact or record for fact, record in zip(columns["fact"], records, strict=True)]
        columns["version"] = [version or 1 for version in columns["version"]]
        columns["known_on"] = [day or known_on for day in columns["known_on"]]
        columns["withdrawn"] = [bool(withdrawn) for withdrawn in columns["withdrawn"]]
        columns["reason"] = [given or reason for given in columns["reason"]]
        ranges.append(records)
    return tuple(ranges)


def _changes(tables: list[tuple[Table, Columns]]) -> Iterator[list[tuple[Table, Columns]]]:
    """Facts in order, at most FACTS_PER_CHANGE at a time."""
    parts: list[tuple[Table, Columns]] = []
    room = FACTS_PER_CHANGE
    for table, columns in tables:
        start, length = 0, _length(columns)
        while start < length:
            end = min(start + room, length)
            parts.append((table, {name: values[start:end] for name, values in columns.items()}))
            room -= end - start
            start = end
            if room == 0:
                yield parts
                parts, room = [], FACTS_PER_CHANGE
    if parts:
        yield parts


def _write(  # noqa: PLR0913 - the parts of one link of the chain
    session: Session,
    act: Act,
    parts: list[tuple[Table, Columns]],
    *,
    seq: int,
    previous: str,
    now: dt.datetime,
) -> str:
    recorded_at = now.strftime("%Y-%m-%dT%H:%M:%SZ")
    body = canonical(
        {
            "act": act.act,
            "facts": [_logged_table(table, columns) for table, columns in parts],
            "person": act.person,
            "reason": act.reason,
            "recorded_at": recorded_at,
            "seq": seq,
            "source": act.source,
        }
    )
    change = {
        "seq": seq,
        "recorded_at": recorded_at,
        "recorded_on": now.date(),
        "person": act.person,
        "source": act.source,
        "act": act.act,
        "facts": sum(_length(columns) for _, columns in parts),
        "body": packed(body),
        "previous": previous,
        "hash": change_hash(seq, previous, body),
    }
    with conflicts_in_words():
        session.execute(insert(table_of(Change)), change)
        for table, columns in parts:
            columns["seq"] = [seq] * _length(columns)
            session.execute(insert(table), rows_of(columns))
    return str(change["hash"])


def _logged_table(table: Table, columns: Columns) -> dict[str, Any]:
    logs = {name: logged(table.columns[name], values) for name, values in columns.items() if name != "seq"}
    return {"columns": logs, "table": table.name}


def _length(columns: Columns) -> int:
    return len(columns["id"])
