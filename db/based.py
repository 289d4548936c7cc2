"""The bases that records belong to: whoever works at some bases sees and writes records of those only."""

import datetime as dt
from collections.abc import Collection
from typing import Any, Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.lookup import current
from db.recorded import KINDS
from db.records.brakes import Installation, Occupancy, Removal
from db.records.fleet import Aircraft, AircraftChange, BaseStation
from db.records.readings import PinReading, Ruling

# Records that are of another record: what that one refers to is theirs.
VIA: Final[tuple[tuple[Any, Any, Any], ...]] = (
    (Removal, Removal.installation, Installation),
    (Ruling, Ruling.reading, PinReading),
)
MASTERS: Final = {"aircraft": "aircraft", "brake": "brakes", "base": "bases"}


def bases_written(session: Session, after: int, *, on: dt.date) -> set[str]:
    """Return the bases of all records that came in after a sequence number."""
    found: set[str] = set()
    for kind, model in KINDS.items():
        facts = session.scalars(select(model.fact).where(model.seq > after)).all()
        if facts:
            found |= bases_of(session, kind, facts, on=on)
    return found


def bases_of(session: Session, kind: str, facts: Collection[int], *, on: dt.date) -> set[str]:
    """Return the bases to which these records belong on a day; "" stands for none."""
    numbers = {column: _referred(session, kind, column, facts) for column in ("aircraft", "brake", "base")}
    aircraft = numbers["aircraft"] | _aircraft_of(session, numbers["brake"])
    named = select(BaseStation.base).where(BaseStation.fact.in_(numbers["base"]))
    bases = {_base_of(session, number, on) for number in aircraft}
    if kind not in ("landings", "aircraft_changes"):  # there it is where the aircraft was, or goes
        bases |= set(session.scalars(named))
    return bases or {""}


def _referred(session: Session, kind: str, column: str, facts: Collection[int]) -> set[int]:
    """Return what the latest versions of these records refer to in a column; of master records themselves."""
    model: Any = KINDS[kind]
    if kind == MASTERS[column]:
        return set(facts)
    for own, link, other in VIA:
        if model is own:
            facts, model = session.scalars(select(link).where(own.fact.in_(facts))).all(), other
    if not hasattr(model, column):
        return set()
    every = select(getattr(model, column)).where(model.fact.in_(facts))
    return {number for number in session.scalars(every) if number is not None}


def _aircraft_of(session: Session, brakes: Collection[int]) -> set[int]:
    """Return the aircraft that these brakes are on, or were on last."""
    stays = select(Occupancy.brake, Occupancy.aircraft).where(Occupancy.brake.in_(brakes))
    latest = {row.brake: row.aircraft for row in session.execute(stays.order_by(Occupancy.from_on))}
    return set(latest.values())


def _base_of(session: Session, aircraft: int, on: dt.date) -> str:
    """Return the base that the aircraft has on a day."""
    changes = current(AircraftChange).where(
        AircraftChange.aircraft == aircraft, AircraftChange.base.is_not(None), AircraftChange.from_on <= on
    )
    changed = changes.order_by(AircraftChange.from_on.desc()).with_only_columns(AircraftChange.base)
    number = (
        session.scalars(changed).first()
        or session.scalars(
            current(Aircraft).where(Aircraft.fact == aircraft).with_only_columns(Aircraft.base)
        ).first()
    )
    return session.scalars(select(BaseStation.base).where(BaseStation.fact == number)).first() or ""
