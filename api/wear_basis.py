"""What a wear check of one aircraft on one day rests on; kept for a while, since many pins are typed one by one."""

import datetime as dt
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from api.expectations import Expected, expected_of, laws_of
from api.wear_limits import BrakeLimit, limits_of
from db.errors import NotFoundError
from db.lookup import aircraft_by_registration, known_by
from db.pin_history import BrakePins, pins_on
from db.wear_states import wear_study
from lifecycle.expected import PinLaw

# It can always be made again from the ledger.
HELD: Final = 64
_held: OrderedDict[tuple[object, ...], "WearBasis"] = OrderedDict()
_lock = threading.Lock()


@dataclass(frozen=True)
class WearBasis:
    """An aircraft's positions on a day, what each brake and pin is expected to show, by position; limits by brake."""

    aircraft: int
    registration: str
    on: dt.date
    pins: tuple[BrakePins, ...]
    expected: Mapping[str, Expected]
    laws: Mapping[str, tuple[PinLaw, ...]]
    limits: Mapping[int, BrakeLimit]


def wear_basis(engine: Engine, session: Session, registration: str, *, on: dt.date) -> WearBasis:
    """Return the basis for the aircraft that carries a registration on a day, by what is known now."""
    aircraft = aircraft_by_registration(session, on).get(registration)
    if aircraft is None:
        raise NotFoundError(
            f"no aircraft carries the registration {registration!r} on {on}; check both, or choose it from the list"
        )
    place = (str(engine.url), known_by(session).seq, wear_study(session), aircraft, on, registration)
    with _lock:
        if place in _held:
            _held.move_to_end(place)
            return _held[place]
    pins = pins_on(session, aircraft, on=on)
    expected = {each.position: law for each in pins if each.brake and (law := expected_of(each))}
    laws = {
        each.position: laws_of(each, expected[each.position]) for each in pins if each.position in expected
    }
    basis = WearBasis(aircraft, registration, on, pins, expected, laws, limits_of(session, pins, on=on))
    with _lock:
        _held[place] = basis
        while len(_held) > HELD:
            _held.popitem(last=False)
    return basis
