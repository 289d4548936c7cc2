"""Which aircraft have an event on record for a day."""

import datetime as dt
from collections.abc import Collection

from sqlalchemy.orm import Session

from db.lookup import current
from db.records.readings import Event


def with_events(
    session: Session, aircraft: Collection[int], day: dt.date, event: str = "rejected take-off"
) -> set[int]:
    """Return those of these aircraft that have such an event on record for the day."""
    if not aircraft:
        return set()
    found = current(Event).where(Event.aircraft.in_(aircraft), Event.day == day, Event.event == event)
    return set(session.scalars(found.with_only_columns(Event.aircraft)))
