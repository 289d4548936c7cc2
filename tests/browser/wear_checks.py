"""A wear check to be typed on the demo fleet: true values by what the pins are expected to show, and slips of them."""

from dataclasses import dataclass

from api.wear_basis import WearBasis, wear_basis
from db.lookup import aircraft_by_registration, known_by
from db.observe import last_effective_day
from db.session import Session, open_engine, reading


@dataclass(frozen=True)
class Sheet:
    """An aircraft with four brakes, the good text of every pin, and which brakes are far enough apart to tell."""

    registration: str
    day: str
    good: dict[str, str]
    basis: WearBasis


def sheets(url, *, brakes=4, far_apart=False):
    """Sheets of aircraft read in millimetres left; `far_apart`: those on which each kind of slip can be told."""
    engine = open_engine(url)
    try:
        with Session(reading(engine)) as session:
            day = last_effective_day(session, known_by(session))
            for registration in sorted(aircraft_by_registration(session, day)):
                sheet = _sheet(wear_basis(engine, session, registration, on=day))
                if sheet and len(sheet.basis.expected) == brakes and (_far_apart(sheet) or not far_apart):
                    yield sheet
    finally:
        engine.dispose()


def _sheet(basis):
    reads = [read for each in basis.pins for read in each.readings[:1] if len(read.pins) == each.pins]
    if len(reads) < len(basis.pins) or {(read.unit, read.convention) for read in reads} != {("mm", "left")}:
        return None
    if any(each.same_day for each in basis.pins):
        return None
    good = {}
    for at, pins in enumerate(basis.pins):
        shortest = min(float(pin) for pin in pins.readings[0].pins)
        for number, pin in enumerate(pins.readings[0].pins):
            middle = basis.expected[pins.position].law.middle_mm
            good[f"{at}-{number}"] = f"{middle + float(pin) - shortest:.1f}"
    return Sheet(basis.registration, basis.on.isoformat(), good, basis)


def _far_apart(sheet):
    """Position 3 far enough from 4 to tell its brake by a reading, and 4 with two digits that matter when swapped."""
    middles = [each.law.middle_mm for each in sheet.basis.expected.values()]
    return min(middles) > 9.5 and abs(middles[2] - middles[3]) > 4.0 and digits_differ(sheet.good["3-0"])


def digits_differ(text):
    return abs(int(text[0]) - int(text[1])) > 1


def swapped(text):
    return text[1] + text[0] + text[2:]
