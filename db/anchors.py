"""
Heads of the chain kept elsewhere, one line a day: what shows that the log was rewritten or its tail cut off.

The file is CSV with the columns day, seq, facts, head. It belongs on another machine or medium than the ledger: who
can change both can change the past. It is begun knowingly, or with an empty ledger, and never anew where it is lost:
a new one would take the log as it then is for what was written.
"""

import datetime as dt
import fcntl
from dataclasses import astuple, dataclass, fields
from pathlib import Path
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.errors import LedgerError
from db.records.log import ChainHead

NAME: Final = "anchors.csv"


@dataclass(frozen=True)
class Anchor:
    """Where the chain stood on a day: changes (0: not told), facts (None: not told), hash of the last change."""

    day: str
    seq: int
    facts: int | None
    head: str


HEADER: Final = ",".join(field.name for field in fields(Anchor))


def anchor_now(session: Session, day: dt.date) -> Anchor:
    """Where the chain stands."""
    head = session.execute(select(ChainHead.seq, ChainHead.record, ChainHead.hash)).one()
    return Anchor(day.isoformat(), head.seq, head.record, head.hash)


def note_today(session: Session, place: Path, *, begin: bool = False) -> bool:
    """Note where the chain stands today; nothing where that is done."""
    return note_anchor(place, anchor_now(session, dt.datetime.now(dt.UTC).date()), begin=begin)


def note_anchor(place: Path, anchor: Anchor, *, begin: bool = False) -> bool:
    """
    Add the day's line to the file, or to the folder's own; not twice a day.

    A new file is begun where told to and of an empty ledger, which has no line; a lost one is refused.
    """
    file = file_of(place)
    if begin and file.exists():
        raise LedgerError(f"{str(file)!r} is there already; it is added to, and needs no beginning")
    fresh = begin or anchor.seq == 0
    if not fresh and file.parent.is_dir() and not file.exists():
        raise lost(file)
    try:
        with file.open("a+" if fresh else "r+", encoding="utf-8", newline="") as kept:
            # Several processes may serve one ledger; each line is written once, and whole.
            fcntl.flock(kept, fcntl.LOCK_EX)
            kept.seek(0)
            before = kept.read()
            if any(line.startswith(f"{anchor.day},") for line in before.splitlines()):
                return False
            start = "" if before.endswith("\n") else "\n" if before else f"{HEADER}\n"
            kept.write(start + (f"{','.join(map(str, astuple(anchor)))}\n" if anchor.seq else ""))
    except OSError as error:
        raise LedgerError(
            f"the anchors {str(file)!r} cannot be written ({error.strerror}); name a file or folder that can be"
        ) from error
    return anchor.seq > 0


def lost(file: Path) -> LedgerError:
    """The refusal of a place that is set and holds no file of anchors."""
    return LedgerError(
        f"there is no file of anchors {str(file)!r}, where PINLEDGER_ANCHORS says: wanted the one that was kept. Find "
        "it, or bring back what it stands on; only where none was ever kept begin one with `pinledger verify "
        "--begin-anchors`, which holds the log from now on and says nothing of what was done to it before"
    )


def file_of(place: Path) -> Path:
    """The file of anchors, where a folder is named: the one of ours in it."""
    return place / NAME if place.is_dir() else place
