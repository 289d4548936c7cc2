"""
One work order: all that came off, where it went, and all that went on, recorded in one act or not at all.

The rules are those of each kind of record; here they are put in the one order in which they can hold: pins are read,
brakes come off, find their place, and then brakes go on.
"""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.brakes import record_shop_visits, record_stock_movements
from db.entry.installations import record_installations, record_removals
from db.entry.outcome import Outcome
from db.entry.readings import record_pin_readings
from db.entry.versions import typed_rows
from db.errors import RowError, RowsRefusedError
from db.fleet_on import brake_names
from db.lookup import find_aircraft, find_brakes
from db.records.brakes import Occupancy

SHOP: Final = "shop"
STOCK: Final = "stock"
SCRAP: Final = "scrap"
AIRCRAFT: Final = "aircraft"
GOES_TO: Final = (SHOP, STOCK, SCRAP, AIRCRAFT)
OCCASION: Final = "removal"
PLACES: Final = (
    (SHOP, "shop_visits", record_shop_visits),
    (SCRAP, "shop_visits", record_shop_visits),
    (STOCK, "stock_movements", record_stock_movements),
)


@dataclass(frozen=True)
class ComesOff:
    """
    A brake comes off a position; all as typed, empty where not known.

    `goes_to` is one of GOES_TO: `work` belongs to the shop, `base` and `condition` to stock; `aircraft` is another
    position, of this aircraft or another, and stands among what goes on. Empty: it has no place yet.
    """

    registration: str
    position: str
    serial: str
    brake_type: str = ""
    removal_reason: str = ""
    landings: str = ""
    goes_to: str = ""
    work: str = ""
    base: str = ""
    condition: str = ""
    pins: tuple[str, ...] = ()


@dataclass(frozen=True)
class GoesOn:
    """A brake goes on a position; all as typed."""

    registration: str
    position: str
    serial: str
    brake_type: str = ""
    starts_as: str = ""
    start_pin: str = ""
    landings: str = ""


@dataclass(frozen=True)
class WorkOrder:
    """A work order of one day; pins are read in this unit and convention."""

    number: str
    day: str
    off: tuple[ComesOff, ...] = ()
    on: tuple[GoesOn, ...] = ()
    release_reference: str = ""
    unit: str = "mm"
    convention: str = "left"
    reader: str = ""


@dataclass(frozen=True)
class MoveFlag:
    """Something odd about one brake of a work order, recorded all the same."""

    serial: str
    text: str


@dataclass(frozen=True)
class Moved:
    """What a work order came to."""

    off: int
    on: int
    held: int
    flags: tuple[MoveFlag, ...]


@dataclass
class _Course:
    """The steps of one work order so far; an error names the line of the order, not of the step."""

    session: Session
    act: Act
    order: WorkOrder
    today: dt.date
    errors: list[RowError] = field(default_factory=list)
    flags: list[MoveFlag] = field(default_factory=list)
    held: int = 0

    def step(
        self,
        kind: str,
        record: Callable[[Session, Act, pd.DataFrame], Outcome],
        lines: Sequence[tuple[int, Mapping[str, str]]],
    ) -> None:
        """Record the rows of one kind, each with its line in the order (from 0); what is refused is gathered."""
        if not lines:
            return
        places, rows = [at for at, _ in lines], [dict(row) for _, row in lines]
        try:
            with self.session.begin_nested():
                outcome = record(self.session, self.act, typed_rows(kind, rows, today=self.today))
        except RowsRefusedError as refused:
            self.errors += [
                replace(error, file=kind, row=places[error.row - 1] + 1) for error in refused.errors
            ]
            return
        if outcome.same and kind != "pin_readings":
            rule = "the same is on record already for this day"
            advice = "look at the record of the brake; a second move on one day is entered under Corrections"
            self.errors.append(RowError(kind, places[0] + 1, "serial", rows[0]["serial"], rule, advice))
        self.held += outcome.held
        self.flags += [MoveFlag(rows[flag.row - 1]["serial"], flag.text) for flag in outcome.flags]

    def refuse_if_any(self) -> None:
        """Raise what was gathered."""
        if self.errors:
            raise RowsRefusedError(tuple(self.errors))


def carry_out(session: Session, act: Act, order: WorkOrder, *, today: dt.date) -> Moved:
    """
    Record a whole work order, or nothing of it.

    Errors name the kind of record (removals, pin_readings, shop_visits, stock_movements, installations) and, as row,
    the line of `off` or `on` counted from 1.
    """
    course = _Course(session, act, order, today)
    _refuse_incomplete(course)
    with session.begin_nested():
        _record(course)
    course.flags += _left_open(order)
    return Moved(len(order.off), len(order.on), course.held, tuple(course.flags))


def _record(course: _Course) -> None:
    order = course.order
    course.step("pin_readings", record_pin_readings, [*_readings(order)])
    removals = [(at, _removal(order, line)) for at, line in enumerate(order.off)]
    if removals:
        _refuse_not_there(course, typed_rows("removals", [row for _, row in removals], today=course.today))
    course.refuse_if_any()
    course.step("removals", record_removals, removals)
    course.refuse_if_any()
    for goes_to, kind, record in PLACES:
        there = [(at, line) for at, line in enumerate(order.off) if line.goes_to == goes_to]
        course.step(kind, record, [(at, _placed(order, line)) for at, line in there])
    course.step("installations", record_installations, [*enumerate(_installations(order))])
    course.refuse_if_any()


def _refuse_incomplete(course: _Course) -> None:
    """Refuse an order without its number, a move without its end, a brake named twice."""
    order = course.order
    if not order.number.strip():
        course.errors.append(
            RowError("removals", 1, "work_order", "", "the work order is missing", "enter the work order")
        )
    if not order.off and not order.on:
        course.errors.append(
            RowError("removals", 1, "serial", "", "nothing comes off and nothing goes on", "name a brake")
        )
    on = {(line.serial, line.brake_type) for line in order.on}
    for at, line in enumerate(order.off, 1):
        if line.goes_to not in ("", *GOES_TO):
            rule, advice = "is no place to go to", f"write one of {', '.join(GOES_TO)}"
            course.errors.append(RowError("removals", at, "goes_to", line.goes_to, rule, advice))
        if line.goes_to == AIRCRAFT and (line.serial, line.brake_type) not in on:
            rule = "goes to another position, but does not go on anywhere in this work order"
            course.errors.append(
                RowError(
                    "removals", at, "goes_to", line.serial, rule, "say where it goes on, or another place"
                )
            )
        if not line.removal_reason:
            course.errors.append(
                RowError("removals", at, "removal_reason", "", "the reason is missing", "choose one")
            )
    for kind, lines in (("removals", order.off), ("installations", order.on)):
        names = [(line.serial, line.brake_type) for line in lines]
        for at, name in enumerate(names):
            if name in names[:at]:
                rule = "is named twice on this side of the work order"
                course.errors.append(RowError(kind, at + 1, "serial", name[0], rule, "leave one of them out"))
    course.refuse_if_any()


def _refuse_not_there(course: _Course, rows: pd.DataFrame) -> None:
    """Refuse to take a brake off a position that it is not on: it may have been moved a moment ago."""
    session, off = course.session, course.order.off
    asked = pd.Series([line.registration for line in off], dtype="str")
    aircraft = find_aircraft(session, asked, rows["removed_on"])
    brakes = find_brakes(session, rows["serial"], rows["brake_type"])
    open_stays = select(Occupancy.brake, Occupancy.aircraft, Occupancy.position, Occupancy.from_on).where(
        Occupancy.aircraft.in_(aircraft.tolist()), Occupancy.to_on.is_(None)
    )
    there = {(row.aircraft, row.position): row for row in session.execute(open_stays)}
    names = brake_names(session, [row.brake for row in there.values()])
    for at, line in enumerate(off):
        if aircraft[at] <= 0:
            rule = f"no aircraft carried the registration {line.registration} on {course.order.day}"
            course.errors.append(
                RowError("removals", at + 1, "registration", line.registration, rule, "check both")
            )
            continue
        holds = there.get((int(aircraft[at]), line.position))
        if holds is not None and holds.brake == brakes[at]:
            continue
        what = "no brake" if holds is None else f"{names[holds.brake]} since {holds.from_on}"
        rule = f"is not there: {line.registration} position {line.position} holds {what}"
        advice = "look at the aircraft as it is now; what was entered wrongly is mended under Corrections"
        course.errors.append(RowError("removals", at + 1, "serial", line.serial, rule, advice))


def _readings(order: WorkOrder) -> list[tuple[int, dict[str, str]]]:
    told = {"unit": order.unit, "convention": order.convention, "occasion": OCCASION, "reader": order.reader}
    rows = []
    for at, line in enumerate(order.off):
        if not line.pins:
            continue
        pins = {f"pin_{number}": pin for number, pin in enumerate(line.pins, 1)}
        counter = {"aircraft_landings": line.landings, "work_order": order.number}
        own = {"serial": line.serial, "brake_type": line.brake_type, "day": order.day}
        rows.append((at, {**own, **pins, **told, **counter}))
    return rows


def _removal(order: WorkOrder, line: ComesOff) -> dict[str, str]:
    return {
        "serial": line.serial,
        "brake_type": line.brake_type,
        "removed_on": order.day,
        "removal_reason": line.removal_reason,
        "aircraft_landings_off": line.landings,
        "work_order": order.number,
    }


def _placed(order: WorkOrder, line: ComesOff) -> dict[str, str]:
    own = {"serial": line.serial, "brake_type": line.brake_type, "work_order": order.number}
    if line.goes_to == STOCK:
        return {**own, "day": order.day, "base": line.base, "condition": line.condition}
    return {**own, "sent_on": order.day, "work": "scrap" if line.goes_to == SCRAP else line.work}


def _installations(order: WorkOrder) -> list[dict[str, str]]:
    return [
        {
            "serial": line.serial,
            "brake_type": line.brake_type,
            "registration": line.registration,
            "position": line.position,
            "installed_on": order.day,
            "starts_as": line.starts_as,
            "start_pin": line.start_pin,
            "aircraft_landings_on": line.landings,
            "release_reference": order.release_reference,
            "work_order": order.number,
        }
        for line in order.on
    ]


def _left_open(order: WorkOrder) -> list[MoveFlag]:
    """What this order leaves half done: somebody has to come back to it."""
    filled = {(line.registration, line.position) for line in order.on}
    flags: list[MoveFlag] = []
    for line in order.off:
        if (line.registration, line.position) not in filled:
            text = f"leaves {line.registration} position {line.position} empty"
            flags.append(MoveFlag(line.serial, text))
        if not line.goes_to:
            flags.append(MoveFlag(line.serial, "comes off and has no place yet"))
    return flags
