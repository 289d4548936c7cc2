"""What is known of an aircraft's pins before they are read on a day: last state, readings and landings since."""

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from db.base import table_of
from db.entry.doubts import RENEWED, run_beginnings
from db.fleet_on import positions, types_of_aircraft, variants_on
from db.flown_days import Flown, flown_days
from db.frames import frame_of, records
from db.lookup import among, brakes_known, current
from db.records.brakes import Brake, Occupancy, Reshim
from db.records.checks import WearPrior, WearState
from db.records.fleet import BrakeType
from db.records.readings import PinReading, Ruling
from db.wear_states import wear_priors, wear_states

USABLE: Final = "accepted"


@dataclass(frozen=True)
class ReadPins:
    """One reading on record; `state` as a ruling left it, `pin_nm` negative for a check without a value."""

    record: int
    day: dt.date
    pins: tuple[str, ...]
    unit: str
    convention: str
    pin_nm: int
    resolution_nm: int
    within_limit: str
    usable: bool
    state: str
    occasion: str


@dataclass(frozen=True)
class Reshimmed:
    """A re-shim on record."""

    day: dt.date
    step_mm: float
    step_sd_mm: float


@dataclass(frozen=True)
class Since:
    """Landings, and the reading or re-shim that came after them; neither at the end."""

    flown: Flown
    reading: ReadPins | None = None
    reshim: Reshimmed | None = None


@dataclass(frozen=True)
class BrakePins:
    """
    One position of an aircraft and the brake on it on a day.

    `state` is the last one kept, None where none is of this run; then the run began with `start_mm` (None: not known).
    `steps` lead from there to the day. `readings` are those of the run before the day, the latest first, `same_day`
    those of the day itself. `renewed` says that the pin may rightly have grown since the last reading.
    """

    position: str
    group: str
    brake: int = 0
    serial: str = ""
    brake_type: str = ""
    weight_variant: str = ""
    pins: int = 1
    new_pin_mm: float | None = None
    new_gap_mm: float | None = None
    state: WearState | None = None
    prior: WearPrior | None = None
    start_mm: float | None = None
    steps: tuple[Since, ...] = ()
    readings: tuple[ReadPins, ...] = ()
    same_day: tuple[ReadPins, ...] = ()
    renewed: bool = False


def pins_on(session: Session, aircraft: int, *, on: dt.date) -> tuple[BrakePins, ...]:
    """Return every position of an aircraft's type, in order, with what is known of its pin before a day's reading."""
    places = positions(session)
    places = places[places["aircraft_type"] == types_of_aircraft(session, [aircraft])[aircraft]]
    fitted = _fitted(session, aircraft, on)
    book = _Book(session, dict(fitted.values()), on)
    variant = str(variants_on(session, pd.Series([aircraft]), pd.Series([pd.Timestamp(on)])).iloc[0])
    return tuple(
        book.pins(row["position"], row["position_group"], fitted[row["position"]][0], variant)
        if row["position"] in fitted
        else BrakePins(row["position"], row["position_group"])
        for row in records(places)
    )


def _fitted(session: Session, aircraft: int, on: dt.date) -> dict[str, tuple[int, dt.date]]:
    there = select(Occupancy).where(
        Occupancy.aircraft == aircraft,
        Occupancy.from_on <= on,
        or_(Occupancy.to_on.is_(None), Occupancy.to_on > on),
    )
    return {stay.position: (stay.brake, stay.from_on) for stay in session.scalars(there)}


class _Book:
    """Everything on record of a few brakes, read once."""

    def __init__(self, session: Session, fitted: Mapping[int, dt.date], on: dt.date) -> None:
        self.on, brakes = on, fitted.keys()
        self.names = {row["brake"]: row for row in records(brakes_known(session, among(Brake.fact, brakes)))}
        kinds = {name["brake_type"] for name in self.names.values()}
        types = session.execute(current(BrakeType).where(BrakeType.brake_type.in_(kinds)))
        self.types = {row.brake_type: row for row in types}
        self.begins = run_beginnings(session, list(brakes))
        self.runs = {brake: self._run(brake, fitted_on) for brake, fitted_on in fitted.items()}
        states = wear_states(session, brakes)
        self.states = {brake: each for brake, each in states.items() if each.since >= self.runs[brake][0]}
        self.priors = wear_priors(session)
        self.readings = _readings(session, brakes)
        shims = session.execute(current(Reshim).where(among(Reshim.brake, brakes)).order_by(Reshim.day))
        self.shims: dict[int, list[Reshimmed]] = {}
        for row in shims:
            self.shims.setdefault(row.brake, []).append(
                Reshimmed(row.day, row.step_mm, row.step_sd_mm or 0.0)
            )
        days = [on, *(self._since(brake) for brake in brakes)]
        self.flown = flown_days(session, brakes, since=min(days), until=max(days))

    def pins(self, position: str, group: str, brake: int, variant: str) -> BrakePins:
        """One position."""
        name = self.names[brake]
        kind = self.types.get(name["brake_type"])
        new_pin_mm = kind.new_pin_mm if kind else None
        begun, start_mm = self.runs[brake]
        readings = [each for each in self.readings.get(brake, ()) if begun <= each.day < self.on]
        last = readings[-1].day if readings else None
        return BrakePins(
            position=position,
            group=group,
            brake=brake,
            serial=name["serial"],
            brake_type=name["brake_type"],
            weight_variant=variant,
            pins=(kind.pins if kind else None) or 1,
            new_pin_mm=new_pin_mm,
            new_gap_mm=kind.new_gap_mm if kind else None,
            state=self.states.get(brake),
            prior=self.priors.get(name["brake_type"]) or self.priors.get(""),
            start_mm=start_mm,
            steps=self._steps(brake, readings),
            readings=tuple(reversed(readings)),
            same_day=tuple(each for each in self.readings.get(brake, ()) if each.day == self.on),
            renewed=last is not None and self._renewed(brake, last),
        )

    def _since(self, brake: int) -> dt.date:
        state = self.states.get(brake)
        return state.since if state else self.runs[brake][0]

    def _run(self, brake: int, fitted_on: dt.date) -> tuple[dt.date, float | None]:
        """When the run began, and with what length, where that is known."""
        own = self.begins[(self.begins["brake"] == brake) & self.begins["starts_as"].notna()]
        own = own[(own["starts_as"] != "") & (own["day"] <= pd.Timestamp(self.on))]
        if own.empty:
            return fitted_on, None
        row, kind = own.iloc[-1], self.types.get(self.names[brake]["brake_type"])
        given = None if pd.isna(row["start_pin_mm"]) else float(row["start_pin_mm"])
        new = kind.new_pin_mm if kind and row["starts_as"] in RENEWED else None
        return row["day"].date(), new if given is None else given

    def _steps(self, brake: int, readings: list[ReadPins]) -> tuple[Since, ...]:
        """Readings in the rate and re-shims since the state or the start, and what was flown up to the day itself."""
        since = self._since(brake)
        shims = [each for each in self.shims.get(brake, ()) if since < each.day <= self.on]
        later = [each for each in readings if each.usable and each.day > since]
        events: list[ReadPins | Reshimmed] = sorted([*shims, *later], key=lambda each: each.day)
        steps, day = [], since
        for event in events:
            flown = self.flown.between(brake, day, event.day)
            read = isinstance(event, ReadPins)
            steps.append(Since(flown, event if read else None, None if read else event))  # type: ignore[arg-type]
            day = event.day
        return (*steps, Since(self.flown.between(brake, day, self.on)))

    def _renewed(self, brake: int, last: dt.date) -> bool:
        days = self.begins.loc[self.begins["brake"] == brake, "day"]
        return bool(((days >= pd.Timestamp(last)) & (days <= pd.Timestamp(self.on))).any())


def _readings(session: Session, brakes: Collection[int]) -> dict[int, list[ReadPins]]:
    """Readings of these brakes, the earliest first, in the state that a ruling left them in; refused ones left out."""
    rows = current(PinReading).where(among(PinReading.brake, brakes)).order_by(PinReading.day, PinReading.id)
    known = frame_of(session, rows)
    rulings = select(table_of(Ruling)).where(Ruling.id.in_(current(Ruling).with_only_columns(Ruling.id)))
    rulings = rulings.where(among(Ruling.reading, known["fact"].tolist()))
    ruled = {row.reading: row.state for row in session.execute(rulings)}
    found: dict[int, list[ReadPins]] = {}
    for row in records(known):
        state = ruled.get(row["fact"], row["state"])
        if state == "refused":
            continue
        found.setdefault(row["brake"], []).append(read_pins(row, state))
    return found


def read_pins(row: Mapping[str, Any], state: str) -> ReadPins:
    """Return a reading from its row, in the state that a ruling left it in."""
    return ReadPins(
        record=row["fact"],
        day=row["day"].date(),
        pins=tuple(row["pins"].split(";")) if row["pins"] else (),
        usable=state == USABLE and row["pin_nm"] >= 0 and "no" not in (row["cold"], row["brakes_applied"]),
        state=state,
        **{name: row[name] for name in ("unit", "convention", "pin_nm", "resolution_nm")},
        **{name: row[name] for name in ("within_limit", "occasion")},
    )
