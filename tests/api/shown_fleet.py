"""
A small invented fleet for the pages, made in seconds: two aircraft, steel and carbon, a brake of every kind of figure.

LOW-1 has been read at its limit, NEW-1 never, OFF-1 is on no aircraft, serial TWIN is carried by both types, and one
serial would run as a formula and break a page if either were not guarded. Nobody real is meant.
"""

import csv
import datetime as dt
import functools
import tempfile
from pathlib import Path

from db.chain import Act
from db.imports.loading import load
from db.schema import migrate
from db.session import Session, open_engine

FIRST = dt.date(2026, 1, 1)
LAST = dt.date(2026, 5, 30)
RISKY = '=1+1<b>&"'
RATES = {"S-100": 0.036, "C-200": 0.02}
PLACES = {
    ("ZZ-A", "1"): ("LOW-1", "S-100"),
    ("ZZ-A", "2"): ("TWIN", "S-100"),
    ("ZZ-A", "3"): ("S-3", "S-100"),
    ("ZZ-A", "4"): ("S-4", "S-100"),
    ("ZZ-B", "1"): (RISKY, "C-200"),
    ("ZZ-B", "2"): ("TWIN", "C-200"),
    ("ZZ-B", "3"): ("C-3", "C-200"),
    ("ZZ-B", "4"): ("NEW-1", "C-200"),
}
ASSUMED = {
    "overhaul_cost": ("EUR", 12000, 10000, 15000),
    "new_brake_cost": ("EUR", 30000, 28000, 33000),
    "change_out_hours": ("h", 6, 5, 8),
    "labour_rate": ("EUR/h", 80, 75, 90),
    "fuel_price_per_kg": ("EUR/kg", 0.8, 0.6, 1.1),
    "fuel_per_added_kg_hour": ("kg/kg/h", 0.03, 0.02, 0.04),
    "kit_cost": ("EUR", 40000, 35000, 50000),
    "kit_hours": ("h", 20, 15, 30),
    "downtime_cost": ("EUR", 2000, 1000, 4000),
    "disposal_cost": ("EUR", 0, None, None),
    "engineering_cost": ("EUR", 5000, 4000, 7000),
    "tooling_cost": ("EUR", 0, None, None),
    "training_cost": ("EUR", 0, None, None),
    "initial_spares": ("1", 1, None, None),
    "discount_rate": ("1", 0.05, 0.04, 0.07),
    "shop_turnaround_days": ("d", 30, 20, 45),
    "scrap_fraction": ("1", 0.03, 0.02, 0.05),
    "slots_per_month": ("1/month", 1, None, None),
}


def make_shown_fleet(url: str) -> None:
    """A new SQLite ledger with the fleet in it."""
    Path(url.removeprefix("sqlite:///")).write_bytes(_brought_in())


@functools.cache
def _brought_in() -> bytes:
    """The database file once the fleet's files were brought in; made once a process."""
    with tempfile.TemporaryDirectory() as made:
        url, folder = f"sqlite:///{made}/shown.db", Path(made, "files")
        folder.mkdir()
        for name, rows in _files().items():
            with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
                writer = csv.DictWriter(file, list(dict.fromkeys(key for row in rows for key in row)))
                writer.writeheader()
                writer.writerows(rows)
        migrate(url)
        engine, today = open_engine(url), dt.datetime.now(dt.UTC).date()
        with Session(engine) as session, session.begin():
            load(session, folder, Act("ann", "import", "load"), approved=True, today=today)
        engine.dispose()
        return Path(made, "shown.db").read_bytes()


def _files():
    brakes = {(serial, kind) for serial, kind in PLACES.values()} | {("OFF-1", "S-100")}
    return {
        "bases": [{"base": "Home"}, {"base": "Away"}],
        "aircraft_types": [{"aircraft_type": "twin", "positions": "1;2;3;4", "landing_mass_kg": 60000}],
        "brake_types": [
            {"brake_type": "S-100", "material": "steel", "pins": 1, "new_pin_mm": 30, "mass_kg": 60},
            {"brake_type": "C-200", "material": "carbon", "pins": 2, "new_pin_mm": 30, "mass_kg": 45},
        ],
        "wear_limits": [
            {
                "brake_type": kind,
                "limit": 5,
                "effective_on": "2020-01-01",
                "source": f"manual of {kind}, revision 2",
            }
            for kind in RATES
        ],
        "effectivity": [{"aircraft_type": "twin", "brake_type": kind, "mix": "any"} for kind in RATES],
        "aircraft": [
            {"registration": "ZZ-A", "aircraft_type": "twin", "base": "Home", "retires_on": "2036-01-01"},
            {"registration": "ZZ-B", "aircraft_type": "twin", "base": "Away", "retires_on": "2036-01-01"},
        ],
        "brakes": [{"serial": serial, "brake_type": kind} for serial, kind in sorted(brakes)],
        "installations": [*_stays()],
        "landings": [
            {"registration": craft, "day": day, "full_stops": 4, "flight_hours": 5}
            for craft in ("ZZ-A", "ZZ-B")
            for day in _days(1)
            if (craft, day) != ("ZZ-B", dt.date(2026, 5, 20))
        ],
        "pin_readings": [*_readings()],
        "stock": [{"base": "Home", "brake_type": "S-100", "counted_on": LAST, "serviceable": 1}],
        "assumptions": [
            {
                "name": name,
                "value": value,
                "unit": unit,
                "low": low,
                "high": high,
                "source": "invented",
                "dated": FIRST,
            }
            for name, (unit, value, low, high) in ASSUMED.items()
        ],
    }


def _days(step):
    return [FIRST + dt.timedelta(days=each) for each in range(0, (LAST - FIRST).days + 1, step)]


def _stays():
    for (craft, position), (serial, kind) in PLACES.items():
        place = {"serial": serial, "brake_type": kind, "registration": craft, "position": position}
        yield {**place, "installed_on": FIRST, "starts_as": "new"}
    gone = {"removed_on": FIRST, "removal_reason": "leak", "installed_on": "2025-12-01", "starts_as": "new"}
    yield {"serial": "OFF-1", "brake_type": "S-100", "registration": "ZZ-A", "position": "1", **gone}


def _readings():
    for (_, position), (serial, kind) in PLACES.items():
        if serial == "NEW-1":
            continue
        for day in _days(10)[1:]:
            left = 30 - RATES[kind] * (1 + 0.02 * int(position)) * 4 * (day - FIRST).days
            typed = {"pin_1": f"{left:.1f}", "unit": "mm"}
            if serial == "C-3":
                typed = {"pin_1": f"{left / 25.4:.3f}", "pin_2": f"{(left + 0.4) / 25.4:.3f}", "unit": "in"}
            yield {"serial": serial, "brake_type": kind, "day": day, "convention": "left", **typed}
    yield {
        "serial": "LOW-1",
        "brake_type": "S-100",
        "day": LAST,
        "pin_1": "5.0",
        "unit": "mm",
        "convention": "left",
    }
