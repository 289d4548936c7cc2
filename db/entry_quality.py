"""How good what was typed is: how often somebody was asked, how much was corrected, and what a second typing found."""

import datetime as dt
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from sqlalchemy import ColumnElement, Select, bindparam, func, select, union_all
from sqlalchemy.orm import Session, aliased

from db.looks import AskRate, ask_rate
from db.lookup import among, brakes_known, current
from db.recorded import KINDS
from db.records.brakes import Brake
from db.records.log import Change
from db.records.readings import PinReading
from db.records.sheets import Sheet, SheetCheck
from db.sheets import IssuedSheet, issued, sheets_waiting

# One sheet in twenty is typed a second time; which, the digest of seed and code says, for whoever wants to check it.
SEED: Final = 20261125
SHARE: Final = 0.05
TYPED_TWICE: Final = ("landings", "wear check")
ENTERED: Final = ("form", "api")
CORRECTED: Final = ("correct a record", "withdraw a record")


@dataclass(frozen=True)
class EntryQuality:
    """
    Counts since a day, by what was typed in (files brought in are not): `corrections` of those `records`.

    `places` and `differences` are over all sheets typed a second time; `waiting` are sheets not typed back, and
    `to_check` those drawn for a second typing, the oldest first.
    """

    since: dt.date
    asked: AskRate
    records: int
    corrections: int
    waiting: tuple[IssuedSheet, ...]
    to_check: tuple[IssuedSheet, ...]
    checked: int
    places: int
    differences: int


@dataclass(frozen=True)
class Checked:
    """A second typing: place to field to text, by whom and when, and in how many of how many places it differed."""

    typed: Mapping[str, Mapping[str, str]]
    places: int
    differences: int
    person: str
    checked_at: str


def entry_quality(session: Session, *, since: dt.date) -> EntryQuality:
    """Return the counts since a day."""
    entered = select(func.coalesce(func.sum(Change.facts), 0)).where(*_typed_in(since))
    checks = select(func.count(), func.sum(SheetCheck.places), func.sum(SheetCheck.differences))
    checked, places, differences = session.execute(checks.select_from(SheetCheck)).one()
    return EntryQuality(
        since=since,
        asked=ask_rate(session),
        records=int(session.scalar(entered) or 0),
        corrections=session.scalar(_corrected(), {"since": since}) or 0,
        waiting=sheets_waiting(session),
        to_check=sheets_to_check(session),
        checked=checked,
        places=places or 0,
        differences=differences or 0,
    )


def _typed_in(since: dt.date | ColumnElement[dt.date]) -> tuple[ColumnElement[bool], ...]:
    return Change.recorded_on >= since, Change.source.in_(ENTERED), Change.act.like("enter %")


@cache
def _corrected() -> Select[int]:
    """Return what counts the records typed in since a day that were corrected or withdrawn, each once."""
    typed = select(Change.seq).where(*_typed_in(bindparam("since")))
    corrected = select(Change.seq).where(Change.act.in_(CORRECTED))
    asked = []
    for model in KINDS.values():
        # The first version of a record bears its number; a later one supersedes another, which an index finds.
        first, later = aliased(model), aliased(model)
        of_both = select(later.fact).join(first, first.id == later.fact).distinct()
        asked.append(
            of_both.where(
                later.supersedes.is_not(None), later.seq.in_(corrected), first.seq.in_(typed)
            ).subquery()
        )
    every = union_all(*(select(each.c.fact) for each in asked)).subquery()
    return select(func.count()).select_from(every)


def drawn(code: str, *, seed: int = SEED, share: float = SHARE) -> bool:
    """Whether this sheet is one of those to be typed a second time."""
    digest = hashlib.sha256(f"{seed} {code}".encode()).digest()
    return int.from_bytes(digest[:8], "big") < share * 2**64


def sheets_to_check(session: Session) -> tuple[IssuedSheet, ...]:
    """Return the sheets of landings and wear checks that are posted, drawn, and not yet typed a second time."""
    done = select(SheetCheck.sheet)
    posted = select(Sheet).where(
        Sheet.posted_at.is_not(None), Sheet.kind.in_(TYPED_TWICE), Sheet.code.not_in(done)
    )
    found = session.scalars(posted.order_by(Sheet.day, Sheet.code))
    return tuple(issued(session, each) for each in found if drawn(each.code))


@dataclass(frozen=True)
class RecordedPins:
    """Pins of one brake as they were typed, with the record that holds them."""

    record: int
    pins: tuple[str, ...]
    unit: str
    convention: str


def pins_on_sheet(session: Session, sheet: IssuedSheet) -> dict[str, RecordedPins]:
    """Return what is on record of the brakes of a wear check on its day, by position; the latest of several."""
    asked = {(each["serial"], each["brake_type"]): str(each["position"]) for each in sheet.asks["positions"]}
    serials = {serial for serial, _ in asked}
    known = brakes_known(session, among(Brake.serial, serials))
    places = {
        row["brake"]: asked[row["serial"], row["brake_type"]]
        for row in known.to_dict("records")
        if (row["serial"], row["brake_type"]) in asked
    }
    read = current(PinReading).where(PinReading.brake.in_(places), PinReading.day == sheet.day)
    return {
        places[row.brake]: RecordedPins(
            row.fact, tuple((row.pins or "").split(";")), row.unit, row.convention
        )
        for row in session.execute(read.order_by(PinReading.id))
    }


def check_of(session: Session, code: str) -> Checked | None:
    """Return the second typing of a sheet, None before it."""
    found = session.get(SheetCheck, code)
    if found is None:
        return None
    return Checked(json.loads(found.typed), found.places, found.differences, found.person, found.checked_at)
