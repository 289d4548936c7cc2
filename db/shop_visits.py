"""The latest visit of a brake to a shop, as the form of its return needs it."""

import datetime as dt
from dataclasses import dataclass

from sqlalchemy.orm import Session

from db.lookup import current
from db.records.brakes import ShopVisit


@dataclass(frozen=True)
class OpenVisit:
    """A visit from which the brake is not back: the record, and the tag that a correction has to name."""

    record: int
    tag: str
    sent_on: dt.date
    work: str
    work_order: str


def open_visit(session: Session, brake: int) -> OpenVisit | None:
    """Return the visit from which this brake is not back."""
    visits = current(ShopVisit).where(
        ShopVisit.brake == brake, ShopVisit.back_on.is_(None), ShopVisit.work != "scrap"
    )
    found = session.execute(visits.order_by(ShopVisit.sent_on.desc())).first()
    if found is None:
        return None
    return OpenVisit(
        found.fact, f"{found.fact}-{found.version}", found.sent_on, found.work, found.work_order or ""
    )
