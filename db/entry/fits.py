"""What is odd about a brake in a position, flagged: outside effectivity, or mixed where that is not allowed."""

import datetime as dt
from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from sqlalchemy import Row, select
from sqlalchemy.orm import Session

from db.base import table_of
from db.entry.outcome import Flag
from db.fleet_on import brake_types_of, positions, types_of_aircraft, variants_on
from db.lookup import among, brake_type_ids, current
from db.records.brakes import Occupancy
from db.records.fleet import Effectivity

# Where several entries apply, the strictest counts: a flag asks somebody to look and refuses nothing.
STRICT_FIRST: Final = ("none", "same group", "any")


@dataclass(frozen=True)
class _Placed:
    """A brake in a position on a day."""

    row: int
    brake: int
    aircraft: int
    position: str
    day: dt.date


@dataclass(frozen=True)
class _Judged:
    """How a brake may be mixed where it is: a word of STRICT_FIRST, "" outside effectivity; `group` of the position."""

    placed: _Placed
    brake_type: int
    group: str | None
    rule: str


def fit_flags(session: Session, installed: pd.DataFrame) -> list[Flag]:
    """
    Flags on installations just written (row, brake, aircraft, position, installed_on).

    An aircraft type without any effectivity on record is not judged.
    """
    placed = _placed(installed.rename(columns={"installed_on": "day"}))
    book = _Book(session, {each.aircraft for each in placed})
    if not placed or not book.entries:
        return []
    others = {each.row: book.beside(each) for each in placed}
    judged = book.judged([*placed, *(other for each in others.values() for other in each)])
    names = {number: name for name, number in brake_type_ids(session).items()}
    outside = [
        Flag(
            own.placed.row,
            f"brake type {names[own.brake_type]} is outside the effectivity on record "
            f"for position {own.placed.position}",
        )
        for own in judged[: len(placed)]
        if not own.rule
    ]
    by_row: dict[int, list[_Judged]] = {}
    for other in judged[len(placed) :]:
        by_row.setdefault(other.placed.row, []).append(other)
    mixed = [
        _mixed(own, breach, names)
        for own in judged[: len(placed)]
        if (breach := [other for other in by_row.get(own.placed.row, []) if _breach(own, other)])
    ]
    return outside + sorted(mixed, key=lambda flag: flag.row)


def effective_there(session: Session, placed: pd.DataFrame) -> list[bool]:
    """
    Say of each brake whether it may be in a position by the effectivity on record (brake, aircraft, position, day).

    An aircraft type without any effectivity on record is not judged: then it may.
    """
    asked = _placed(placed.assign(row=0))
    return [each.rule != "" for each in _Book(session, {each.aircraft for each in asked}).judged(asked)]


def _placed(rows: pd.DataFrame) -> list[_Placed]:
    days = rows["day"].to_numpy().astype("datetime64[D]").tolist()
    columns = (rows[name].tolist() for name in ("row", "brake", "aircraft", "position"))
    return [_Placed(*each) for each in zip(*columns, days, strict=True)]


class _Book:
    """Effectivity, positions and stays of some aircraft, read once."""

    def __init__(self, session: Session, aircraft: set[int]) -> None:
        self._session = session
        self._types = types_of_aircraft(session, aircraft)
        allowed = current(Effectivity).where(among(Effectivity.aircraft_type, self._types.values()))
        self.entries: dict[int, dict[int, list[Row[Any]]]] = {}
        for entry in session.execute(allowed):
            self.entries.setdefault(entry.aircraft_type, {}).setdefault(entry.brake_type, []).append(entry)
        if not self.entries:
            return
        rows = positions(session)
        self._groups: dict[int, dict[str, str]] = {}
        for kind, position, group in zip(*(rows[name].tolist() for name in rows.columns), strict=True):
            self._groups.setdefault(kind, {})[position] = group
        self._stays: dict[tuple[int, str], list[Row[Any]]] = {}
        stays = session.execute(select(table_of(Occupancy)).where(among(Occupancy.aircraft, aircraft)))
        for stay in sorted(stays, key=lambda each: (each.from_on, each.to_on or dt.date.max)):
            self._stays.setdefault((stay.aircraft, stay.position), []).append(stay)

    def beside(self, placed: _Placed) -> list[_Placed]:
        """Who else is on the aircraft at the end of the day."""
        found = []
        for position in self._groups.get(self._types[placed.aircraft], {}):
            stays = self._stays.get((placed.aircraft, position), [])
            at = bisect_right(stays, placed.day, key=lambda stay: stay.from_on)
            stay = stays[at - 1] if at and position != placed.position else None
            if stay is not None and (stay.to_on is None or placed.day < stay.to_on):
                found.append(_Placed(placed.row, stay.brake, placed.aircraft, position, placed.day))
        return found

    def judged(self, placed: list[_Placed]) -> list[_Judged]:
        """Say how each brake may be mixed where it is; of types without effectivity, in any way."""
        if not self.entries:
            return [_Judged(each, 0, None, "any") for each in placed]
        kinds = brake_types_of(self._session, {each.brake for each in placed})
        variants = self._variants(placed)
        found = []
        for each, variant in zip(placed, variants, strict=True):
            of_type, kind = self._types[each.aircraft], kinds[each.brake]
            group = self._groups.get(of_type, {}).get(each.position)
            entries = self.entries.get(of_type, {}).get(kind, [])
            words = [entry.mix for entry in entries if _applies(entry, each, variant, group)]
            rule = min(words, key=STRICT_FIRST.index, default="") if of_type in self.entries else "any"
            found.append(_Judged(each, kind, group, rule))
        return found

    def _variants(self, placed: list[_Placed]) -> list[str]:
        """Return the weight variant of each aircraft on the day, where any entry asks for one."""
        every: Iterable[Row[Any]] = (
            entry for of_type in self.entries.values() for entries in of_type.values() for entry in entries
        )
        if not any(entry.weight_variant for entry in every):
            return [""] * len(placed)
        aircraft = pd.Series([each.aircraft for each in placed], dtype="int64")
        days = pd.Series([each.day for each in placed], dtype="datetime64[s]")
        return [str(variant) for variant in variants_on(self._session, aircraft, days)]


def _applies(entry: Row[Any], placed: _Placed, variant: str, group: str | None) -> bool:
    """Whether an entry's scope covers the brake; a blank scope covers all, `to` is the first day outside."""
    return (
        entry.aircraft in (None, placed.aircraft)
        and (not entry.weight_variant or entry.weight_variant == variant)
        and (not entry.position_group or entry.position_group == group)
        and (entry.from_on is None or entry.from_on <= placed.day)
        and (entry.to_on is None or placed.day < entry.to_on)
    )


def _breach(own: _Judged, other: _Judged) -> bool:
    """Whether two brakes of other types are mixed as one of their rules does not allow."""
    rules = (own.rule, other.rule)
    same_group = own.group is not None and own.group == other.group
    return own.brake_type != other.brake_type and ("none" in rules or ("same group" in rules and same_group))


def _mixed(own: _Judged, breach: list[_Judged], names: Mapping[int, str]) -> Flag:
    others = ", ".join(sorted({names[other.brake_type] for other in breach}))
    there = ", ".join(sorted(other.placed.position for other in breach))
    text = f"brake type {names[own.brake_type]} is mixed with {others} in position {there}, "
    return Flag(own.placed.row, text + "which the effectivity on record does not allow")
