"""Freezing a brief as an edition, and withdrawing one; what was frozen is never changed."""

import datetime as dt
import json
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.base import table_of
from db.chain import Act, append
from db.editions import Edition, edition
from db.entry.versions import withdrawn_version
from db.errors import RowError, RowsRefusedError, StaleVersionError
from db.locks import lock_record
from db.records.editions import EditionEntry

LONGEST_TITLE: Final = 120


@dataclass(frozen=True)
class Freezing:
    """What is frozen: the question, the study that answered it, and all that was shown (JSON's own types)."""

    title: str
    from_type: str
    to_type: str
    study: str
    forecast_on: dt.date
    records_known_on: dt.date
    records_head: str
    seed: int
    shown: Any


def freeze_edition(session: Session, act: Act, asked: Freezing) -> int:
    """Keep a brief as an edition for good; return its number."""
    title = " ".join(asked.title.split())
    if not title:
        _refuse("title", asked.title, "an edition needs a title", "say what it is for, in a few words")
    if len(title) > LONGEST_TITLE:
        _refuse("title", title, f"has {len(title)} characters", f"use at most {LONGEST_TITLE}")
    shown = json.dumps(
        asked.shown, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    done = append(session, act, [(EditionEntry, [{**vars(asked), "title": title, "shown": shown}])])
    return done.records[0][0]


def withdraw_edition(session: Session, act: Act, number: int, *, version: str) -> Edition:
    """Say that an edition does not count any more, and why; it stays readable. `version` is the tag looked at."""
    edition(session, number)
    lock_record(session, number)
    found = edition(session, number)
    if not (act.reason or "").strip():
        _refuse("reason", "", "a withdrawal needs a reason", "say why, in a few words")
    if found.withdrawn_by:
        _refuse("", "", f"edition {number} is withdrawn already", "nothing is left to do")
    if found.version != version:
        raise StaleVersionError(
            f"edition {number} stands at version {found.version}; the one looked at was {version or 'none'}",
            found.version,
            {"title": found.title},
        )
    frozen = table_of(EditionEntry)
    row = session.execute(select(frozen).where(frozen.c.fact == number, frozen.c.version == 1)).one()
    append(session, act, [(EditionEntry, [withdrawn_version(row)])])
    return edition(session, number)


def _refuse(column: str, value: str, rule: str, suggestion: str) -> None:
    raise RowsRefusedError((RowError("editions", 1, column, value, rule, suggestion),))
