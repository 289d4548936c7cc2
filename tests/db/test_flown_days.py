"""Landings of a brake between two days: as the arithmetic counts them where they are reported, at a pace where not."""

import datetime as dt

import pytest

from db.entry.recorders import recorders
from db.flown_days import PACE_UNKNOWN, UNSURE, flown_days
from db.lookup import aircraft_by_registration, brakes_by_serial, known_by
from db.observe import observe
from db.pin_history import pins_on
from lifecycle.exposure import measure_runs
from tests.ledger import ACT, installation, rows

FIRST, LAST = dt.date(2026, 1, 1), dt.date(2026, 3, 1)


def enter(session, kind, *told):
    recorders()[kind](session, ACT, rows(kind, *told))


def day(number, stops, **more):
    on = FIRST + dt.timedelta(days=number)
    return {"registration": "ZZ-001", "day": on, "full_stops": stops, **more}


@pytest.fixture
def ledger(small_fleet):
    enter(small_fleet, "installations", installation("S1", 1, FIRST), installation("S2", 2, "2026-01-10"))
    yield small_fleet
    small_fleet.rollback()


def brake(session, serial):
    return next(number for (name, _), number in brakes_by_serial(session).items() if name == serial)


def test_reported_landings_are_counted_as_the_arithmetic_counts_them(ledger):
    """Slow plain reference: the exposure of the whole ledger on both days."""
    log = [day(n, n % 4, rejected_takeoffs=int(n == 20)) for n in range(1, 40)]
    log.append(day(40, 30, to_day=FIRST + dt.timedelta(days=49)))
    enter(ledger, "landings", *log, *(day(n, 3) for n in range(50, 60)))
    for serial in ("S1", "S2"):
        number = brake(ledger, serial)
        found = flown_days(ledger, [number], since=FIRST, until=LAST)
        for until in (dt.date(2026, 1, 15), dt.date(2026, 2, 9), dt.date(2026, 2, 19), LAST):
            told = found.between(number, FIRST, until)
            assert told.landings == pytest.approx(measured(ledger, serial, until))
            assert told.sd == 0.0
            assert found.between(number, until, FIRST).landings == pytest.approx(-told.landings)


def measured(session, serial, on):
    runs = measure_runs(observe(session, on=on, known=known_by(session)), on).runs
    return float(runs.loc[runs["serial"] == serial, "landings"].iloc[0])


def test_days_between_totals_share_what_the_reported_ones_leave(ledger):
    enter(
        ledger,
        "landings",
        day(1, 2, total_landings=100),
        day(5, 3),
        day(10, "", total_landings=120),
        *(day(n, 2) for n in range(11, 20)),
    )
    number = brake(ledger, "S1")
    found = flown_days(ledger, [number], since=FIRST, until=LAST)
    assert found.between(number, FIRST + dt.timedelta(days=1), FIRST + dt.timedelta(days=10)).landings == 20.0


def test_unreported_days_fly_at_the_aircrafts_own_pace_and_are_unsure(ledger):
    number = brake(ledger, "S1")
    found = flown_days(ledger, [number], since=FIRST, until=FIRST + dt.timedelta(days=10))
    told = found.between(number, FIRST, FIRST + dt.timedelta(days=10))
    assert (told.landings, told.sd) == (10 * PACE_UNKNOWN, pytest.approx(UNSURE * 10 * PACE_UNKNOWN))
    enter(ledger, "landings", *(day(n, 6) for n in range(1, 6)))
    found = flown_days(ledger, [number], since=FIRST, until=FIRST + dt.timedelta(days=10))
    assert found.between(number, FIRST, FIRST + dt.timedelta(days=10)).landings == 60.0


def test_a_deactivated_brake_does_not_land(ledger):
    enter(ledger, "landings", *(day(n, 2) for n in range(1, 21)))
    off = {"serial": "S1", "from": day(5, 0)["day"], "to": day(10, 0)["day"]}
    enter(ledger, "deactivations", off)
    number = brake(ledger, "S1")
    found = flown_days(ledger, [number], since=FIRST, until=FIRST + dt.timedelta(days=20))
    assert found.between(number, FIRST, FIRST + dt.timedelta(days=20)).landings == 30.0


def test_the_history_of_a_pin_begins_with_its_run_and_tells_what_came_since(ledger):
    enter(ledger, "landings", *(day(n, 2) for n in range(1, 60)))
    read = {"serial": "S1", "unit": "mm", "convention": "left"}
    enter(
        ledger,
        "pin_readings",
        {**read, "day": "2026-01-20", "pin_1": "48.0", "pin_2": "49.0"},
        {**read, "day": "2026-02-10", "pin_1": "46.5", "cold": "no"},
    )
    enter(ledger, "reshims", {"serial": "S1", "day": "2026-02-15", "step_mm": "6", "step_sd_mm": "0.5"})
    aircraft = aircraft_by_registration(ledger, LAST)["ZZ-001"]
    one, two, *empty = pins_on(ledger, aircraft, on=LAST)
    assert [each.brake for each in empty] == [0, 0]
    assert (one.start_mm, one.pins, one.renewed) == (50.0, 2, True)
    assert [(step.flown.landings, bool(step.reading), bool(step.reshim)) for step in one.steps] == [
        (38.0, True, False),
        (52.0, False, True),
        (28.0, False, False),
    ]
    assert [read.pins for read in one.readings] == [("46.5",), ("48.0", "49.0")]
    assert two.readings == ()
