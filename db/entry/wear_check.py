"""A wear check: the pin readings of a sheet in one change, and which of them somebody was asked to look at again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.outcome import Outcome
from db.entry.readings import record_pin_readings
from db.lookup import find_brakes, known_by
from db.records.checks import LookAgain
from db.records.readings import PinReading


@dataclass(frozen=True)
class Looked:
    """A pin that somebody was asked to look at again: why, what was typed first, the numbered reason, what changed."""

    pin: int
    asked: str
    first: str
    reason: str
    changed: bool


def record_wear_check(  # noqa: PLR0913 - what was typed, and what was asked about it
    session: Session,
    act: Act,
    rows: pd.DataFrame,
    *,
    odd: Mapping[int, str],
    looked: Mapping[int, Sequence[Looked]],
    at: str,
) -> Outcome:
    """Record the readings (one row a brake); those `odd` are held, and what was `looked` at again is kept, by row."""
    before = known_by(session).seq
    outcome = record_pin_readings(session, act, rows, odd=odd)
    brakes = find_brakes(session, rows["serial"], rows["brake_type"])
    came = session.execute(select(PinReading.brake, PinReading.fact).where(PinReading.seq > before))
    facts = {row.brake: row.fact for row in came}
    for row, brake in zip(rows["row"].tolist(), brakes.tolist(), strict=True):
        for each in looked.get(row, ()) if brake in facts else ():
            session.add(
                LookAgain(
                    reading=facts[brake],
                    pin=each.pin,
                    asked=each.asked,
                    first=each.first,
                    reason=each.reason,
                    changed=each.changed,
                    person=act.person,
                    asked_at=at,
                )
            )
    session.flush()
    return outcome
