"""What happens to a brake off the aircraft: sent to a shop, back from it or exchanged there, into stock, scrapped."""

import datetime as dt
from dataclasses import dataclass, replace
from typing import Final

from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.brakes import record_brakes, record_shop_visits, record_stock_movements
from db.entry.corrections import correct
from db.entry.outcome import Outcome
from db.entry.versions import typed_rows
from db.errors import LedgerError
from db.shop_visits import open_visit
from db.whereabouts import Whereabouts

SENT: Final = "sent"
BACK: Final = "back"
EXCHANGED: Final = "exchanged"
SCRAPPED: Final = "scrapped"
STORED: Final = "stored"
WHAT: Final = (SENT, BACK, EXCHANGED, SCRAPPED, STORED)


@dataclass(frozen=True)
class BrakeMove:
    """
    One move of a brake that is off the aircraft, as typed; `what` is one of WHAT.

    `base` and `condition` say which stock the brake goes to; after a return and an exchange they may be empty. Under an
    exchange `serial_back` came instead, and is entered with `brake_type_back` where `new_here`.
    """

    what: str
    day: str
    work_order: str = ""
    work: str = ""
    cost: str = ""
    currency: str = ""
    base: str = ""
    condition: str = "serviceable"
    serial_back: str = ""
    brake_type_back: str = ""
    new_here: bool = False


def move_brake(session: Session, act: Act, brake: Whereabouts, move: BrakeMove, *, today: dt.date) -> Outcome:
    """Record one move of a brake, all that belongs to it or nothing."""
    if move.what not in WHAT:
        raise LedgerError(f"{move.what!r} is no move of a brake; wanted one of {', '.join(WHAT)}")
    with session.begin_nested():
        if move.what == SCRAPPED and (visit := open_visit(session, brake.brake)) is not None:
            why = replace(act, reason=act.reason or "scrapped at the shop")
            done = correct(
                session, why, visit.record, version=visit.tag, values={"work": "scrap"}, today=today
            )
            return Outcome(completed=1, flags=done.flags)
        outcome = Outcome()
        if move.what == EXCHANGED and move.new_here:
            kind = move.brake_type_back or brake.brake_type
            new = {"serial": move.serial_back, "brake_type": kind, "arrangement": "exchange"}
            record_brakes(session, act, typed_rows("brakes", [new], today=today))
        if move.what != STORED:
            row = typed_rows("shop_visits", [_visit(session, brake, move)], today=today)
            outcome = record_shop_visits(session, _under(act, move), row)
        if move.base or move.what == STORED:
            row = typed_rows("stock_movements", [_stored(brake, move)], today=today)
            kept = record_stock_movements(session, act, row)
            outcome = kept if move.what == STORED else outcome
    return outcome


def _under(act: Act, move: BrakeMove) -> Act:
    if move.what not in (BACK, EXCHANGED) or not move.work_order:
        return act
    return replace(act, reason=act.reason or f"came back under work order {move.work_order}")


def _visit(session: Session, brake: Whereabouts, move: BrakeMove) -> dict[str, str]:
    own = {"serial": brake.serial, "brake_type": brake.brake_type}
    if move.what in (SENT, SCRAPPED):
        work = move.work if move.what == SENT else "scrap"
        return {**own, "work_order": move.work_order, "sent_on": move.day, "work": work}
    visit = open_visit(session, brake.brake)
    if visit is None:
        raise LedgerError(f"{brake.serial} is {brake.told}; enter first that it was sent to the shop")
    # A visit keeps the work order under which the brake was sent; that of its return is the reason of the new version.
    own["work_order"] = visit.work_order
    back = {"sent_on": visit.sent_on.isoformat(), "back_on": move.day, "work": visit.work}
    if move.what == EXCHANGED:
        back |= {"serial_back": move.serial_back, "brake_type_back": move.brake_type_back}
    return {**own, **back, "cost": move.cost, "currency": move.currency}


def _stored(brake: Whereabouts, move: BrakeMove) -> dict[str, str]:
    other = move.what == EXCHANGED
    return {
        "serial": move.serial_back if other else brake.serial,
        "brake_type": (move.brake_type_back or brake.brake_type) if other else brake.brake_type,
        "day": move.day,
        "base": move.base,
        "condition": move.condition,
        "work_order": move.work_order,
    }
