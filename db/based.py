"""The bases that records belong to: whoever works at some bases sees and writes records of those only."""

import datetime as dt
from collections.abc import Collection
from functools import cache
from typing import Any, Final

from sqlalchemy import CompoundSelect, bindparam, literal, select, union_all
from sqlalchemy.orm import Session

from db.lookup import current
from db.recorded import KINDS
from db.records.brakes import Installation, Occupancy, Removal
from db.records.fleet import Aircraft, AircraftChange, BaseStation
from db.records.log import Change
from db.records.readings import PinReading, Ruling

# Records that are of another record: what that one refers to is theirs.
VIA: Final[tuple[tuple[Any, Any, Any], ...]] = (
    (Removal, Removal.installation, Installation),
    (Ruling, Ruling.reading, PinReading),
)
MASTERS: Final = {"aircraft": "aircraft", "brakes": "brake", "bases": "base"}
REFERS: Final = ("aircraft", "brake", "base")
# There it is where the aircraft was, or goes.
BASE_OF_DAY: Final = ("landings", "aircraft_changes")


def bases_written(session: Session, person: str, after: int, *, on: dt.date) -> set[str]:
    """Return the bases of all records that came in by this person after a sequence number."""
    written: dict[str, set[int]] = {}
    for kind, fact in session.execute(_written(), {"person": person, "after": after}):
        written.setdefault(kind, set()).add(fact)
    return set[str]().union(*(bases_of(session, kind, facts, on=on) for kind, facts in written.items()))


def bases_of(session: Session, kind: str, facts: Collection[int], *, on: dt.date) -> set[str]:
    """Return the bases to which these records belong on a day; "" stands for none."""
    numbers = _referred(session, kind, facts)
    aircraft = numbers["aircraft"] | _aircraft_of(session, numbers["brake"])
    bases = _bases_of_aircraft(session, aircraft, on)
    if kind not in BASE_OF_DAY and numbers["base"]:
        named = select(BaseStation.base).where(BaseStation.fact.in_(numbers["base"]))
        bases |= set(session.scalars(named))
    return bases or {""}


@cache
def _written() -> CompoundSelect[Any]:
    """Return the kind and number of every record of one person's changes after one; others write meanwhile."""
    changes = select(Change.seq).where(Change.seq > bindparam("after"), Change.person == bindparam("person"))
    return union_all(
        *(
            select(literal(kind).label("kind"), model.fact).where(
                model.seq > bindparam("after"), model.seq.in_(changes)
            )
            for kind, model in KINDS.items()
        )
    )


def _referred(session: Session, kind: str, facts: Collection[int]) -> dict[str, set[int]]:
    """Return the aircraft, brakes and bases that versions of these records refer to; master records themselves."""
    model: Any = KINDS[kind]
    found: dict[str, set[int]] = {column: set() for column in REFERS}
    for own, link, other in VIA:
        if model is own:
            facts, model = session.scalars(select(link).where(own.fact.in_(facts))).all(), other
    own_column = MASTERS.get(kind, "")
    if own_column:
        found[own_column] = set(facts)
    columns = [column for column in REFERS if column != own_column and hasattr(model, column)]
    if columns:
        every = select(*(getattr(model, column) for column in columns)).where(model.fact.in_(facts))
        for row in session.execute(every):
            for column, number in zip(columns, row, strict=True):
                found[column] |= {number} - {None}
    return found


def _aircraft_of(session: Session, brakes: Collection[int]) -> set[int]:
    """Return the aircraft that these brakes are on, or were on last."""
    if not brakes:
        return set()
    stays = select(Occupancy.brake, Occupancy.aircraft).where(Occupancy.brake.in_(brakes))
    latest = {row.brake: row.aircraft for row in session.execute(stays.order_by(Occupancy.from_on))}
    return set(latest.values())


def _bases_of_aircraft(session: Session, aircraft: Collection[int], on: dt.date) -> set[str]:
    """Return the bases that these aircraft have on a day."""
    if not aircraft:
        return set()
    first = current(Aircraft).where(Aircraft.fact.in_(aircraft))
    at = {row[0]: row[1] for row in session.execute(first.with_only_columns(Aircraft.fact, Aircraft.base))}
    changes = current(AircraftChange).where(
        AircraftChange.aircraft.in_(aircraft), AircraftChange.base.is_not(None), AircraftChange.from_on <= on
    )
    changed = changes.with_only_columns(AircraftChange.aircraft, AircraftChange.base)
    at |= {row[0]: row[1] for row in session.execute(changed.order_by(AircraftChange.from_on))}
    numbers = {number for number in at.values() if number}
    named = select(BaseStation.fact, BaseStation.base).where(BaseStation.fact.in_(numbers))
    names = {row[0]: row[1] for row in session.execute(named)} if numbers else {}
    return {names.get(at.get(number) or 0, "") for number in aircraft}
