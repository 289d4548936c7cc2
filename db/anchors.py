"""
Heads of the chain kept elsewhere, one line a day: what shows that the log was rewritten or its tail cut off.

The file is CSV with the columns day, seq, facts, head. It belongs on another machine or medium than the ledger: who
can change both can change the past.
"""

import csv
import datetime as dt
import fcntl
import json
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
    """Where the chain stood on a day: changes, facts, and the hash of the last change."""

    day: str
    seq: int
    facts: int
    head: str


HEADER: Final = ",".join(field.name for field in fields(Anchor))


def anchor_now(session: Session, day: dt.date) -> Anchor:
    """Where the chain stands."""
    head = session.execute(select(ChainHead.seq, ChainHead.record, ChainHead.hash)).one()
    return Anchor(day.isoformat(), head.seq, head.record, head.hash)


def note_today(session: Session, place: Path) -> bool:
    """Note where the chain stands today; nothing where that is done."""
    return note_anchor(place, anchor_now(session, dt.datetime.now(dt.UTC).date()))


def note_anchor(place: Path, anchor: Anchor) -> bool:
    """Add the day's line to the file, or to the folder's own; not twice a day, and not of an empty ledger."""
    if anchor.seq == 0:
        return False
    file = file_of(place)
    try:
        with file.open("a+", encoding="utf-8", newline="") as kept:
            # Several processes may serve one ledger; each line is written once, and whole.
            fcntl.flock(kept, fcntl.LOCK_EX)
            kept.seek(0)
            before = kept.read()
            if any(line.startswith(f"{anchor.day},") for line in before.splitlines()):
                return False
            start = "" if before.endswith("\n") else "\n" if before else f"{HEADER}\n"
            kept.write(f"{start}{','.join(map(str, astuple(anchor)))}\n")
    except OSError as error:
        raise LedgerError(
            f"the anchors {str(file)!r} cannot be written ({error.strerror}); name a file or folder that can be"
        ) from error
    return True


def read_anchors(place: Path) -> tuple[Anchor, ...]:
    """Every line of the file, or of the folder's own; also what `verify --format json` printed."""
    file = file_of(place)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not text"
        raise LedgerError(f"anchor file {str(file)!r} cannot be read ({why}); name one that can") from error
    if text.lstrip().startswith("{"):
        return (_printed(text),)
    lines = text.splitlines()
    if not lines or lines[0] != HEADER:
        raise LedgerError(
            f"{str(file)!r} begins {text[:60]!r} and holds no anchor; wanted the line {HEADER!r} and one line a "
            'day, or what verify printed: {"facts": NUMBER, "head": "HASH"}'
        )
    return tuple(_line(row, f"{file} line {number}") for number, row in enumerate(csv.reader(lines[1:]), 2))


def file_of(place: Path) -> Path:
    """The file of anchors, where a folder is named: the one of ours in it."""
    return place / NAME if place.is_dir() else place


def _line(row: list[str], where: str) -> Anchor:
    try:
        day, seq, facts, head = row
        return _sound(Anchor(dt.date.fromisoformat(day).isoformat(), int(seq), int(facts), head))
    except ValueError:
        raise LedgerError(
            f"{where} is {','.join(row)[:80]!r}; wanted {HEADER} like 2026-03-14,412,84325,HASH of 64 characters"
        ) from None


def _printed(text: str) -> Anchor:
    try:
        told = json.loads(text)
        return _sound(Anchor("", int(told.get("seq", 0)), int(told["facts"]), str(told["head"])))
    except (ValueError, KeyError, TypeError):
        raise LedgerError(
            f'{text[:60]!r} is no anchor; wanted what verify printed: {{"facts": NUMBER, "head": "HASH"}}'
        ) from None


def _sound(anchor: Anchor) -> Anchor:
    if len(bytes.fromhex(anchor.head)) != 32 or anchor.facts < 0 or anchor.seq < 0:
        raise ValueError
    return anchor
