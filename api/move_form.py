"""The form of one work order on one aircraft, read: what comes off, what goes on, and what is wrong, field by field."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy.orm import Session

from api.forms import day_typed
from db.entry.moves import AIRCRAFT, SCRAP, SHOP, STOCK, ComesOff, GoesOn, WorkOrder
from db.errors import RowError
from db.fitted import Fitted, FittedAircraft
from db.going_on import LAST, alike, brakes_called, candidates, meant
from db.imports.refused import CellError
from db.whereabouts import ON_AIRCRAFT, Whereabouts
from lifecycle.errors import BadRecordsError
from lifecycle.units import exact_nm

BETWEEN_PINS: Final = re.compile(r"[\s;]+")
ROBBED: Final = "robbed"
MOST_CHOICES: Final = 20
# The field of the form that a column of a record was typed in; a dash stands for the place on the form.
FIELDS: Final[Mapping[tuple[str, str], str]] = {
    ("removals", "serial"): "off-",
    ("removals", "removal_reason"): "reason-",
    ("removals", "goes_to"): "goes-",
    ("removals", "aircraft_landings_off"): "landings",
    ("removals", "removed_on"): "day",
    ("removals", "work_order"): "work_order",
    ("shop_visits", "work"): "goes-",
    ("installations", "serial"): "on-",
    ("installations", "position"): "on-",
    ("installations", "installed_on"): "day",
    ("installations", "starts_as"): "start-",
    ("installations", "start_pin"): "pin-",
    ("installations", "aircraft_landings_on"): "landings",
    ("installations", "release_reference"): "release",
}
ELSE: Final = {"removals": "off-", "pin_readings": "pins-", "installations": "on-"}


@dataclass(frozen=True)
class Asked:
    """Whose form it is: the bases of the person (none: all), and the day it is."""

    bases: tuple[str, ...]
    today: dt.date


@dataclass
class Place:
    """
    One position of the form: what is there, what was typed, brakes to choose from, the brake to be robbed.

    `alike` are other brakes whose serial ends as what was typed of the one that comes off.
    """

    at: int
    there: Fitted
    typed: Mapping[str, str]
    choices: tuple[Whereabouts, ...] = ()
    alike: tuple[Whereabouts, ...] = ()
    rob: Whereabouts | None = None
    goes_on: Whereabouts | None = None
    comes_off: bool = False  # whether what goes on comes off in the same order: it goes on as it was

    @property
    def start(self) -> str:
        """How the brake that goes on starts, as chosen or as the records say."""
        if self.goes_on is None or self.said("start"):
            return self.said("start")
        return "same run" if self.comes_off or self.rob is not None else self.goes_on.starts_as

    def said(self, name: str) -> str:
        """What was typed in a field of this position."""
        return self.typed.get(f"{name}-{self.at}", "").strip()


@dataclass
class MoveForm:
    """The form as typed, and what it comes to: an order, or errors by field."""

    aircraft: FittedAircraft
    typed: Mapping[str, str]
    places: tuple[Place, ...]
    day: dt.date | None = None
    errors: dict[str, str] = field(default_factory=dict)
    order: WorkOrder | None = None
    off_at: tuple[str, ...] = ()
    on_at: tuple[int, ...] = ()

    def said(self, name: str) -> str:
        """What was typed in a field of the whole order."""
        return self.typed.get(name, "").strip()

    @property
    def going(self) -> frozenset[int]:
        """The brakes that go on a position in this order."""
        return frozenset(place.goes_on.brake for place in self.places if place.goes_on is not None)

    def refused(self, errors: tuple[RowError, ...]) -> None:
        """Put what the ledger refused beside the fields that it is about."""
        for error in errors:
            name = FIELDS.get((error.file, error.column), ELSE.get(error.file, "goes-"))
            if name.endswith("-"):
                at = self.on_at if error.file == "installations" else self.off_at
                name += str(at[error.row - 1])
            name = name.replace("off-rob", "rob")
            self.errors.setdefault(name, f"{error.value or 'this'}: {error.rule}; {error.suggestion}")


def move_form(aircraft: FittedAircraft, chosen: list[str], typed: Mapping[str, str]) -> MoveForm:
    """Return the form for these positions of an aircraft, not read yet."""
    there = [each for each in aircraft.positions if each.position in chosen]
    return MoveForm(aircraft, typed, tuple(Place(at, each, typed) for at, each in enumerate(there)))


def read_form(session: Session, form: MoveForm, asked: Asked) -> MoveForm:
    """Read the form into a work order, unless something in it is wrong."""
    _read_day(form, asked.today)
    if not form.said("work_order"):
        form.errors["work_order"] = "enter the work order under which this was done"
    coming_off = {place.there.brake for place in form.places if _comes_off(form, place)}
    for place in form.places:
        if place.there.brake in coming_off:
            tail = place.said("off")
            place.alike = alike(session, tail, place.there.brake, bases=asked.bases, on=asked.today)
        _read_pins(form, place)
        _read_going_on(session, form, place, asked, coming_off)
    _wants_a_place(form)
    if not coming_off and not any(place.said("on") or place.said("off") for place in form.places):
        form.errors.setdefault("off-0", "nothing comes off and nothing goes on; type the end of a serial")
    if not form.errors:
        _make_order(form)
    return form


def _read_day(form: MoveForm, today: dt.date) -> None:
    try:
        form.day = day_typed(form.said("day"), today=today)
    except CellError as error:
        form.errors["day"] = f"{form.said('day') or 'the day'} {error.rule}; {error.suggestion}"


def ends_it(typed: str, serial: str) -> bool:
    """Whether what was typed is the end of a serial: its last four characters at least, or all of a shorter one."""
    return len(typed) >= min(LAST, len(serial)) and serial.upper().endswith(typed.upper())


def _comes_off(form: MoveForm, place: Place) -> bool:
    typed, there = place.said("off"), place.there
    if not typed:
        for name, told in (("reason", "reason"), ("pins", "pins"), ("goes", "place")):
            if place.said(name):
                form.errors[f"off-{place.at}"] = (
                    f"a {told} is given, but not what comes off: type its last four"
                )
        return False
    if not there.brake:
        form.errors[f"off-{place.at}"] = "no brake is on record in this position; leave this side empty"
        return False
    if not ends_it(typed, there.serial):
        form.errors[f"off-{place.at}"] = (
            f"{typed} does not end {there.serial}, which is on record here since {there.since}; "
            "read the serial on the brake again, and if another brake was there, mend that record first"
        )
        return False
    if not place.said("reason"):
        form.errors[f"reason-{place.at}"] = "choose why it came off"
    return True


def _read_pins(form: MoveForm, place: Place) -> None:
    """Tell what is no length at the first look, whatever else is wrong; the ledger counts it exactly later."""
    starts = [place.said("pin")] if place.said("pin") else []
    for name, pins, unit in (
        ("pins", _pins_of(place), form.said("unit") or "mm"),
        ("pin", starts, "mm"),
    ):
        for pin in pins:
            try:
                wrong = "" if exact_nm(pin, unit) >= 0 else f"{pin} {unit} is negative"
            except BadRecordsError as error:
                wrong = str(error)
            if wrong:
                form.errors.setdefault(
                    f"{name}-{place.at}", f"{pin}: {wrong}; write the length as read, with a point"
                )


def _pins_of(place: Place) -> tuple[str, ...]:
    return tuple(pin for pin in BETWEEN_PINS.split(place.said("pins")) if pin)


def _read_going_on(session: Session, form: MoveForm, place: Place, asked: Asked, off: set[int]) -> None:
    typed = place.said("on")
    if not typed:
        return
    name = f"on-{place.at}"
    if place.there.brake and place.there.brake not in off:
        form.errors.setdefault(
            f"off-{place.at}", f"{place.there.serial} is in this position; type its last four to take it off"
        )
    day = form.day or asked.today
    called = brakes_called(session, typed, bases=asked.bases, on=asked.today)
    found = candidates(
        session, called, aircraft=form.aircraft.aircraft, position=place.there.position, day=day
    )
    picked = [each for each in found if str(each.place.brake) == place.said("pick")]
    likely = picked or meant(found, coming_off=off)
    if len(likely) != 1:
        place.choices = tuple(each.place for each in likely[:MOST_CHOICES])
        form.errors[name] = (
            f"{len(likely)} serials end in {typed}; choose one, or type more of it"
            if likely
            else f"no serial on record ends in {typed} (type the last four); a brake new here is entered first"
        )
        return
    one = likely[0]
    place.goes_on = one.place
    if not one.free:
        form.errors[name] = f"{one.place.serial} is {one.place.told}; enter its return first"
    elif one.place.kind == ON_AIRCRAFT and one.place.brake not in off:
        place.rob = one.place
        if place.said("rob") != "yes":
            form.errors[f"rob-{place.at}"] = (
                f"{one.place.serial} is {one.place.told}; tick that it comes off there, or choose another brake"
            )
    place.comes_off = one.place.brake in off
    if not place.start:
        form.errors[f"start-{place.at}"] = "the records do not say how it starts; choose"


def _wants_a_place(form: MoveForm) -> None:
    for place in form.places:
        if place.said("off") and not place.said("goes") and place.there.brake not in form.going:
            form.errors.setdefault(f"goes-{place.at}", "choose where it goes")


def _make_order(form: MoveForm) -> None:
    on = [place for place in form.places if place.goes_on is not None]
    off = [place for place in form.places if place.said("off")]
    donors = [place for place in on if place.rob is not None]
    form.off_at = (*(str(place.at) for place in off), *(f"rob-{place.at}" for place in donors))
    form.on_at = tuple(place.at for place in on)
    form.order = WorkOrder(
        number=form.said("work_order"),
        day=form.day.isoformat() if form.day else "",
        off=(*(_off(form, place) for place in off), *(_robbed(place) for place in donors)),
        on=tuple(_on(form, place) for place in on),
        release_reference=form.said("release"),
        unit=form.said("unit") or "mm",
        convention=form.said("convention") or "left",
        reader=form.said("reader"),
    )


def _off(form: MoveForm, place: Place) -> ComesOff:
    goes, work, base, condition = _destination(place.said("goes"))
    return ComesOff(
        registration=form.aircraft.registration,
        position=place.there.position,
        serial=place.there.serial,
        brake_type=place.there.brake_type,
        removal_reason=place.said("reason"),
        landings=form.said("landings"),
        goes_to=AIRCRAFT if place.there.brake in form.going else goes,
        work=work,
        base=base,
        condition=condition,
        pins=_pins_of(place),
    )


def _destination(chosen: str) -> tuple[str, str, str, str]:
    """A choice of the form in its parts: `shop:overhaul`, `stock:serviceable:BASE`, `scrap`, `aircraft` or nothing."""
    kind, _, more = chosen.partition(":")
    if kind == SHOP:
        return SHOP, more, "", ""
    if kind == STOCK:
        condition, _, base = more.partition(":")
        return STOCK, "", base, condition
    return (kind if kind in (SCRAP, AIRCRAFT) else ""), "", "", ""


def _robbed(place: Place) -> ComesOff:
    assert place.rob is not None  # noqa: S101 - donors are those that have one; for the type checker
    return ComesOff(
        registration=place.rob.registration,
        position=place.rob.position,
        serial=place.rob.serial,
        brake_type=place.rob.brake_type,
        removal_reason=ROBBED,
        landings=place.said("roblandings"),
        goes_to=AIRCRAFT,
    )


def _on(form: MoveForm, place: Place) -> GoesOn:
    assert place.goes_on is not None  # noqa: S101 - the same
    return GoesOn(
        registration=form.aircraft.registration,
        position=place.there.position,
        serial=place.goes_on.serial,
        brake_type=place.goes_on.brake_type,
        starts_as=place.start,
        start_pin=place.said("pin"),
        landings=form.said("landings"),
    )
