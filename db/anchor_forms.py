"""
Heads of the log in every form in which they were given out, read back as anchors.

The file of anchors, what `verify`, `briefing` and `editions` print as JSON, an export's README and its editions, and a
head by itself, as it stands on paper.
"""

import csv
import datetime as dt
import json
import re
from pathlib import Path
from typing import Any, Final

from db.anchors import HEADER, Anchor, file_of, lost
from db.errors import LedgerError

# Lines of an export's README.
CHANGES: Final = "Changes in the log: "
FACTS: Final = "Facts in the log: "
HEAD: Final = "Head of the log: "

BARE: Final = re.compile(r"[0-9a-fA-F]{64}")
WANTED: Final = (
    f"wanted the line {HEADER!r} and one line a day, an export's README.txt, or JSON that was printed: "
    '{"seq": NUMBER, "facts": NUMBER, "head": "HASH"} with seq or facts or neither'
)


def anchors_of(given: str) -> tuple[Anchor, ...]:
    """Every anchor that a word of the command line stands for: a head itself, or a file or folder with some."""
    bare = "".join(given.split())
    return (Anchor("", 0, None, bare.lower()),) if BARE.fullmatch(bare) else read_anchors(Path(given))


def kept_anchors(place: str, *, changes: int) -> tuple[Anchor, ...]:
    """
    Every anchor at the place that is set; none where no place is.

    A ledger with changes and a place without an anchor is refused: the file may be lost, and whoever cut the log may
    have lost it.
    """
    if not place:
        return ()
    file = file_of(Path(place))
    if changes == 0 and (not file.exists() or file.read_bytes().strip() in {b"", HEADER.encode()}):
        return ()
    if not file.exists():
        raise lost(file)
    return read_anchors(file)


def read_anchors(place: Path) -> tuple[Anchor, ...]:
    """Every anchor in the file, or in the folder's own; at least one."""
    file = file_of(place)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not text"
        raise LedgerError(f"anchor file {str(file)!r} cannot be read ({why}); name one that can") from error
    if text.lstrip().startswith(("{", "[")):
        return _printed(text)
    if HEAD in text:
        return (_exported(text),)
    lines = text.splitlines()
    if not lines or lines[0] != HEADER or len(lines) == 1:
        raise LedgerError(f"{str(file)!r} begins {text[:60]!r} and holds no anchor; {WANTED}")
    return tuple(_line(row, f"{file} line {number}") for number, row in enumerate(csv.reader(lines[1:]), 2))


def _line(row: list[str], where: str) -> Anchor:
    try:
        day, seq, facts, head = row
        return _sound(dt.date.fromisoformat(day).isoformat(), seq, facts, head)
    except ValueError:
        raise LedgerError(
            f"{where} is {','.join(row)[:80]!r}; wanted {HEADER} like 2026-03-14,412,84325,HASH of 64 characters"
        ) from None


def _exported(text: str) -> Anchor:
    told = dict(line.partition(": ")[::2] for line in text.splitlines())
    try:
        return _sound("", told.get(CHANGES[:-2]), told.get(FACTS[:-2]), told[HEAD[:-2]])
    except (ValueError, KeyError):
        raise LedgerError(f"{text[:60]!r} has no whole head of the log in it; {WANTED}") from None


def _printed(text: str) -> tuple[Anchor, ...]:
    try:
        told = json.loads(text)
        found = tuple(
            anchor for each in (told if isinstance(told, list) else [told]) for anchor in _heads(each)
        )
    except (ValueError, KeyError, TypeError, AttributeError):
        found = ()
    if not found:
        raise LedgerError(f"{text[:60]!r} is no anchor; {WANTED}")
    return found


def _heads(told: Any) -> list[Anchor]:  # noqa: ANN401 - JSON
    """Heads that an object names: its own, that of the records behind a brief, an edition's and its own entry."""
    found = [_sound("", told.get("seq"), told.get("facts"), told["head"])] if "head" in told else []
    if told.get("entry"):
        found.append(_sound("", told["seq"], None, told["entry"]))
    found += [
        _sound("", None, None, told[name]) for name in ("records_head", "ledger_head") if told.get(name)
    ]
    return found + (_heads(told["edition"]) if isinstance(told.get("edition"), dict) else [])


def _sound(day: str, seq: Any, facts: Any, head: str) -> Anchor:  # noqa: ANN401 - text or JSON's numbers
    """Return the anchor; ValueError where it is none."""
    changes = 0 if seq in {None, ""} else int(seq)
    count = None if facts in {None, ""} else int(facts)
    if not BARE.fullmatch(head) or (count is not None and count < 0) or changes < 0:
        raise ValueError
    return Anchor(day, changes, count, head.lower())
