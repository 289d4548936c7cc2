"""Sheets of one aircraft, issued with what is on record of its positions at that moment."""

import datetime as dt
from collections.abc import Sequence

from sqlalchemy.orm import Session

from db.entry.sheets import SheetAsked, issue_sheet
from db.fitted import Fitted, fitted_on
from db.lookup import current
from db.records.fleet import BrakeType
from db.sheets import IssuedSheet
from lifecycle.observations import REMOVAL_REASONS


def issue_wear_check(session: Session, asked: SheetAsked, *, person: str, now: dt.datetime) -> IssuedSheet:
    """Issue a brake wear check sheet: every position, its brake and how many pins it has."""
    aircraft = fitted_on(session, asked.registration, on=asked.day)
    asks = {"positions": _positions(session, aircraft.positions)}
    return issue_sheet(session, asked, asks, person=person, now=now)


def issue_move_slip(
    session: Session, asked: SheetAsked, positions: Sequence[str], *, person: str, now: dt.datetime
) -> IssuedSheet:
    """Issue a move slip for these positions of an aircraft (none: all of them)."""
    aircraft = fitted_on(session, asked.registration, on=asked.day)
    chosen = [each for each in aircraft.positions if not positions or each.position in positions]
    asks = {"positions": _positions(session, chosen), "reasons": list(REMOVAL_REASONS)}
    return issue_sheet(session, asked, asks, person=person, now=now)


def _positions(session: Session, places: Sequence[Fitted]) -> list[dict[str, object]]:
    types = current(BrakeType).with_only_columns(BrakeType.brake_type, BrakeType.pins)
    pins = {row.brake_type: row.pins for row in session.execute(types)}
    return [
        {
            "position": each.position,
            "group": each.group,
            "serial": each.serial,
            "brake_type": each.brake_type,
            "pins": int(pins.get(each.brake_type) or 1),
        }
        for each in places
    ]
