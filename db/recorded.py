"""One record with all its versions, each told in the columns of its file."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import pandas as pd
from sqlalchemy import ColumnElement, CompoundSelect, Select, bindparam, literal, select, union_all
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.called import Names
from db.entry.keyed import shown
from db.errors import NotFoundError
from db.exported import TABLES
from db.files import ENTERED, File
from db.files.column import MONTH
from db.frames import frame_of
from db.lookup import LAST_NUMBER, among, current
from db.records.brakes import Brake, Installation, Removal
from db.records.fleet import Aircraft, AircraftChange, AircraftType, BaseStation, BrakeType
from db.records.log import Change
from db.records.readings import AND_HELD, Ruling

KINDS: Final[Mapping[str, type[Fact]]] = {**TABLES, "removals": Removal, "rulings": Ruling}
# What the file of installations tells of the removal, a record of its own.
OF_REMOVALS: Final = ("removed_on", "removal_reason", "aircraft_landings_off")
# The columns by which records refer to master records.
NAMED_BY: Final[Mapping[str, tuple[str, ...]]] = {
    "bases": ("base",),
    "aircraft_types": ("aircraft_type",),
    "brake_types": ("brake_type", "brake", "brake_back"),
    "brakes": ("brake", "brake_back"),
    "aircraft": ("aircraft",),
    "aircraft_changes": ("aircraft",),
}


@dataclass(frozen=True)
class Version:
    """One version of a record: when and by whom it came, why, and what it says in the columns of its file."""

    record: int
    version: int
    seq: int
    known_on: dt.date
    recorded_at: str
    person: str
    source: str
    withdrawn: bool
    reason: str
    told: Mapping[str, str]

    @property
    def held_because(self) -> str:
        """Of a held reading, why: without the reason that a person gave for the version."""
        return self.reason.rpartition(AND_HELD)[2]


@dataclass(frozen=True)
class Recorded:
    """A record: its kind, the number of its first version, and its versions, the oldest first."""

    kind: str
    fact: int
    versions: tuple[Version, ...]

    @property
    def now(self) -> Version:
        """The version that stands."""
        return self.versions[-1]

    @property
    def tag(self) -> str:
        """Fact and version: what a correction has to name, so that it corrects what was looked at."""
        return f"{self.fact}-{self.now.version}"


def read_record(session: Session, number: int) -> Recorded:
    """Return the record of which this is the number, whichever version it is the number of."""
    kind, fact = find_record(session, number)
    return read_records(session, kind, KINDS[kind].fact == fact)[0]


def read_records(session: Session, kind: str, which: ColumnElement[bool]) -> list[Recorded]:
    """Return the records of one kind whose rows meet a condition, withdrawn ones too, in the order of their numbers."""
    model = KINDS[kind]
    statement = select(table_of(model)).where(which).order_by(model.fact, model.version)
    versions = frame_of(session, statement)
    changes = {
        row.seq: row
        for row in session.execute(
            select(Change.seq, Change.recorded_at, Change.person, Change.source).where(
                among(Change.seq, versions["seq"].tolist())
            )
        )
    }
    found: dict[int, list[Version]] = {}
    for row, values in zip(versions.to_dict("records"), _told(session, kind, versions), strict=True):
        found.setdefault(row["fact"], []).append(_version(row, changes[row["seq"]], values))
    return [Recorded(kind, fact, tuple(each)) for fact, each in found.items()]


def find_record(session: Session, number: int) -> tuple[str, int]:
    """Return the kind of a record and the number of its first version."""
    found = session.execute(_numbered(), {"number": number}).first() if 0 < number <= LAST_NUMBER else None
    if found is None:
        raise NotFoundError(
            f"no record has the number {number}; look it up under Where this comes from, or on the brake's record"
        )
    return str(found[0]), int(found[1])


@cache
def _numbered() -> CompoundSelect[Any]:
    """Return what asks every kind of record for a number, made once."""
    return union_all(
        *(
            select(literal(kind).label("kind"), model.fact).where(model.id == bindparam("number"))
            for kind, model in KINDS.items()
        )
    )


def columns_of(kind: str, width: int = 1) -> list[str]:
    """Return the columns in which a record of this kind is told, with so many pins."""
    own = [column.name for column in ENTERED[kind].columns if column.name != "recorded_on"]
    if kind == "installations":
        return [name for name in own if name not in OF_REMOVALS]
    if kind == "pin_readings":
        place = own.index("pin_1")
        return [*own[:place], *(f"pin_{number}" for number in range(1, width + 1)), *own[place + 1 :]]
    return own


def _told(session: Session, kind: str, versions: pd.DataFrame) -> list[dict[str, str]]:
    facts, width = versions, 1
    if kind == "pin_readings":
        pins = versions["pins"].str.split(";", expand=True).fillna("")
        width = pins.shape[1]
        facts = pd.concat([versions, pins.rename(columns=lambda place: f"pin_{place + 1}")], axis=1)
    if kind == "removals":
        made = frame_of(session, _of_facts(Installation, _numbers(versions, "installation")))
        facts = versions.assign(brake=versions["installation"].map(made.set_index("fact")["brake"]))
    file = ENTERED[kind]
    names = _names(session, facts)
    told = {name: _texts(file, name, names.told(file, name, facts)) for name in columns_of(kind, width)}
    return [dict(zip(told, row, strict=True)) for row in zip(*told.values(), strict=True)]


def _names(session: Session, facts: pd.DataFrame) -> Names:
    """Names of what these facts refer to, and no others: a large fleet has many."""
    brakes, aircraft = (_numbers(facts, *names) for names in (("brake", "brake_back"), ("aircraft",)))
    asked = {
        name: statement for name, statement in _masters(brakes, aircraft).items() if _refers(facts, name)
    }
    return Names({name: frame_of(session, statement) for name, statement in asked.items()})


def _refers(facts: pd.DataFrame, name: str) -> bool:
    """Whether facts name records of a master table by number; a base's own name is a text."""
    columns = NAMED_BY[name]
    return any(column in facts and facts[column].dtype.kind in "if" for column in columns)


def _masters(brakes: list[int], aircraft: list[int]) -> dict[str, Select[*tuple[Any, ...]]]:
    base, kind, made = BaseStation, AircraftType, BrakeType
    changed = current(AircraftChange).where(AircraftChange.aircraft.in_(aircraft))
    columns = (AircraftChange.aircraft, AircraftChange.new_registration, AircraftChange.from_on)
    craft = _of_facts(Aircraft, aircraft)
    return {
        "bases": current(base, withdrawn=True).with_only_columns(base.fact, base.base),
        "aircraft_types": current(kind, withdrawn=True).with_only_columns(kind.fact, kind.aircraft_type),
        "brake_types": current(made, withdrawn=True).with_only_columns(made.fact, made.brake_type),
        "brakes": _of_facts(Brake, brakes).with_only_columns(Brake.fact, Brake.serial, Brake.brake_type),
        "aircraft": craft.with_only_columns(Aircraft.fact, Aircraft.registration),
        "aircraft_changes": changed.with_only_columns(*columns),
    }


def _numbers(facts: pd.DataFrame, *columns: str) -> list[int]:
    return sorted({int(number) for name in columns if name in facts for number in facts[name].dropna()})


def _of_facts(model: type[Fact], numbers: list[int]) -> Select[Any]:
    return current(model, withdrawn=True).where(model.fact.in_(numbers))


def _texts(file: File, name: str, values: "pd.Series[Any]") -> list[str]:
    column = file.column(name)
    if column is not None and column.kind == MONTH:
        return [f"{day:%Y-%m}" for day in values]
    return [shown(value) for value in values]


def _version(row: Mapping[Any, Any], change: Any, values: dict[str, str]) -> Version:  # noqa: ANN401 - a row
    return Version(
        record=row["id"],
        version=row["version"],
        seq=row["seq"],
        known_on=row["known_on"].date(),
        recorded_at=change.recorded_at,
        person=change.person,
        source=change.source,
        withdrawn=row["withdrawn"],
        reason=row["reason"],
        told=values,
    )
