"""What stands on record under a work order: what came off, what went on, and where each brake is now."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy.orm import Session

from db.fleet_on import registrations_of
from db.lookup import current
from db.records.brakes import Installation, Removal
from db.whereabouts import Whereabouts, whereabouts


@dataclass(frozen=True)
class WorkOrderLine:
    """One side of one position: `reason` of what came off, `starts_as` of what went on, and the record's number."""

    record: int
    registration: str
    position: str
    day: dt.date
    came_off: bool
    now: Whereabouts
    reason: str = ""
    starts_as: str = ""


def lines_under(session: Session, number: str) -> tuple[WorkOrderLine, ...]:
    """Return the lines of a work order by aircraft and position, what came off before what went on."""
    made = session.execute(current(Installation).where(Installation.work_order == number)).all()
    ended = session.execute(current(Removal).where(Removal.work_order == number)).all()
    of = {each.installation for each in ended}
    stays = {
        each.fact: each for each in session.execute(current(Installation).where(Installation.fact.in_(of)))
    }
    now = whereabouts(session, {each.brake for each in [*made, *stays.values()]})
    called = registrations_of(session, {each.aircraft for each in [*made, *stays.values()]})
    lines = [
        WorkOrderLine(
            each.fact,
            called[stays[each.installation].aircraft],
            stays[each.installation].position,
            each.removed_on,
            came_off=True,
            now=now[stays[each.installation].brake],
            reason=each.removal_reason or "",
        )
        for each in ended
        if each.installation in stays
    ]
    lines += [
        WorkOrderLine(
            each.fact,
            called[each.aircraft],
            each.position,
            each.installed_on,
            came_off=False,
            now=now[each.brake],
            starts_as=each.starts_as,
        )
        for each in made
    ]
    return tuple(sorted(lines, key=lambda line: (line.registration, line.position, not line.came_off)))
