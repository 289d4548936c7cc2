"""Which brake the end of a serial means, said while the form is still being typed; nothing is decided by it."""

import datetime as dt
from collections.abc import Collection, Sequence
from typing import Final

from sqlalchemy.orm import Session

from api import words
from api.move_form import ends_it
from db.fitted import Fitted, FittedAircraft
from db.going_on import LAST, Candidate, alike, brakes_called, candidates, meant
from db.whereabouts import Whereabouts

MOST_NAMED: Final = 4


def serial_told(  # noqa: PLR0913 - a position of an aircraft, and who asks when
    session: Session,
    tail: str,
    *,
    aircraft: FittedAircraft,
    positions: Sequence[str],
    position: str,
    bases: Collection[str],
    on: dt.date,
) -> str:
    """What can go on a position by the end of its serial, where `positions` are those of the form."""
    called = brakes_called(session, tail, bases=bases, on=on)
    if not called:
        return f"No serial on record ends in {tail} (the last {LAST} are wanted)."
    coming_off = {each.brake for each in aircraft.positions if each.position in positions and each.brake}
    found = candidates(session, called, aircraft=aircraft.aircraft, position=position, day=on)
    likely = meant(found, coming_off=coming_off)
    if len(likely) == 1:
        return _one(likely[0].place, [each for each in found if each is not likely[0]], tail)
    named = words.listed([_named(each.place) for each in likely[:MOST_NAMED]])
    more = f" and {len(likely) - MOST_NAMED} more" if len(likely) > MOST_NAMED else ""
    return f"{len(likely)} serials end in {tail}: {named}{more}. Type more of it, or choose in the next step."


def off_told(session: Session, tail: str, there: Fitted, *, bases: Collection[str], on: dt.date) -> str:
    """Whether the end of a serial is that of the brake on record in a position, and which other serials end alike."""
    if not there.brake:
        return "No brake is on record in this position."
    if not ends_it(tail, there.serial):
        return f"{there.serial} is on record here, which does not end in {tail}."
    others = alike(session, tail, there.brake, bases=bases, on=on)
    return f"{there.serial}, as on record." if not others else alike_told(there.serial, tail, others)


def alike_told(serial: str, tail: str, others: Sequence[Whereabouts]) -> str:
    """Which other serials end as the one that is taken."""
    also = words.listed([_named(each) for each in others[:MOST_NAMED]])
    more = f" and {len(others) - MOST_NAMED} more" if len(others) > MOST_NAMED else ""
    verb = "ends" if len(others) == 1 else "end"
    return f"Taken: {serial}. In {tail} also {verb} {also}{more}; read the whole serial on the brake."


def _one(one: Whereabouts, others: Sequence[Candidate], tail: str) -> str:
    if not others:
        return f"{_named(one)}."
    also = words.listed([_named(each.place) for each in others[:MOST_NAMED]])
    verb = "ends" if len(others) == 1 else "end"
    return f"Taken: {_named(one)}. In {tail} also {verb} {also}; type more where that one is meant."


def _named(place: Whereabouts) -> str:
    return f"{place.serial}, {place.brake_type} ({place.told})"
