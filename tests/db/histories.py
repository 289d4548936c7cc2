"""Random histories of facts for tests of the ledger's queries: corrected, withdrawn, back-dated and late."""

import datetime as dt
import random
from dataclasses import dataclass, field

from db.chain import Act, append
from db.errors import ConflictError
from db.records.brakes import Brake, Deactivation, Installation, Removal, Reshim, ShopVisit
from db.records.economics import AssumptionEntry, FlyingPlan, Order, StockCount
from db.records.fleet import Aircraft, AircraftChange, AircraftType, BaseStation, BrakeType, Effectivity
from db.records.readings import Event, Exclusion, Landing, PinReading, Ruling

ACT = Act("tester", "test", "add")
FIRST = dt.date(2025, 1, 1)
SPAN = 60
CHANGES = 120
MODELS = {
    "bases": BaseStation,
    "aircraft_types": AircraftType,
    "brake_types": BrakeType,
    "aircraft": Aircraft,
    "brakes": Brake,
    "aircraft_changes": AircraftChange,
    "effectivity": Effectivity,
    "installations": Installation,
    "removals": Removal,
    "reshims": Reshim,
    "deactivations": Deactivation,
    "landings": Landing,
    "pin_readings": PinReading,
    "rulings": Ruling,
    "events": Event,
    "exclusions": Exclusion,
    "shop_visits": ShopVisit,
    "stock": StockCount,
    "orders": Order,
    "flying_plan": FlyingPlan,
    "assumptions": AssumptionEntry,
}


@dataclass
class History:
    """Facts as they were handed in, each with its record number, sequence number, version and known_on."""

    chance: random.Random
    facts: list[dict] = field(default_factory=list)

    def of(self, kind):
        return [fact["fact"] for fact in self.facts if fact["file"] == kind and fact["version"] == 1]

    def pick(self, kind):
        return self.chance.choice(self.of(kind))

    def day(self):
        return FIRST + dt.timedelta(self.chance.randrange(SPAN))

    def maybe(self, value):
        return value if self.chance.random() < 0.6 else None


def write(session, history, rows):
    """One change of several facts; none where its key was entered before, as the database refuses a second one."""
    by_kind = {}
    for row in rows:
        by_kind.setdefault(row["file"], []).append(row)
    tables = [(MODELS[kind], [_values(row) for row in kind_rows]) for kind, kind_rows in by_kind.items()]
    try:
        with session.begin_nested():
            given = append(session, ACT, tables)
    except ConflictError:
        return
    for numbers, kind_rows in zip(given.records, by_kind.values(), strict=True):
        for number, row in zip(numbers, kind_rows, strict=True):
            unset = {"id": number, "seq": given.changes[0], "version": 1, "withdrawn": False}
            history.facts.append({"fact": number, **unset, **row})


def _values(row):
    return {name: value for name, value in row.items() if name != "file"}


def masters(history, late):
    rows = [{"file": "bases", "base": name} for name in ("HOME", "AWAY")]
    rows += [
        {"file": "aircraft_types", "aircraft_type": "twin", "positions": "1;2", "position_groups": "in;out"}
    ]
    rows += [
        {"file": "brake_types", "brake_type": name, "material": "steel", "pins": 2} for name in ("A", "B")
    ]
    return [row | {"known_on": late(history)} for row in rows]


def crafts(history, late):
    rows = [
        {"file": "aircraft", "registration": f"QQ-{number}", "base": history.maybe(history.pick("bases"))}
        | {"aircraft_type": history.pick("aircraft_types"), "retires_on": dt.date(2030, 1, 1)}
        for number in range(3)
    ]
    rows += [
        {"file": "brakes", "serial": f"S{number}", "brake_type": history.pick("brake_types")}
        for number in range(5)
    ]
    return [row | {"known_on": late(history)} for row in rows]


def later(history):
    return history.day() + dt.timedelta(history.chance.choice([0, 0, 0, 5, 30]))


def reading(history):
    pin = history.chance.randrange(20, 40)
    told = {
        "pins": str(pin),
        "unit": "mm",
        "convention": "left",
        "pin_nm": pin * 10**6,
        "resolution_nm": 10**5,
    }
    told |= {"cold": history.maybe("yes"), "state": history.chance.choice(["accepted", "held"])}
    return told | {
        "brake": history.pick("brakes"),
        "day": history.day(),
        "aircraft_landings": history.maybe(70),
    }


def visit(history):
    told = {
        "brake": history.pick("brakes"),
        "sent_on": history.day(),
        "back_on": history.maybe(history.day()),
    }
    told |= {
        "brake_back": history.maybe(history.pick("brakes")),
        "cost": history.maybe(9000.5),
        "currency": "EUR",
    }
    return told | {"work": "overhaul"}


def assumption(history):
    told = {"name": "labour_rate", "value": history.chance.random(), "unit": "EUR/h", "source": "invented"}
    told |= {"dated": history.day(), "low": history.maybe(0.5), "approved": history.chance.random() < 0.5}
    return told | {"base": history.maybe(history.pick("bases"))}


def landing(history):
    day = history.day()
    counts = {"full_stops": history.maybe(3), "flight_hours": history.maybe(2.5), "total_landings": None}
    to_day = history.maybe(day + dt.timedelta(history.chance.randrange(20)))
    return {"aircraft": history.pick("aircraft"), "day": day, "to_day": to_day, **counts}


RANDOM = {
    "landings": landing,
    "pin_readings": reading,
    "shop_visits": visit,
    "assumptions": assumption,
    "rulings": lambda h: {
        "reading": h.pick("pin_readings"),
        "state": h.chance.choice(["refused", "accepted"]),
    },
    "installations": lambda h: {
        "brake": h.pick("brakes"),
        "aircraft": h.pick("aircraft"),
        "position": "1",
        "installed_on": h.day(),
        "starts_as": "new",
        "aircraft_landings": h.maybe(50),
    },
    "removals": lambda h: {
        "installation": h.pick("installations"),
        "removed_on": h.day(),
        "removal_reason": "worn",
        "aircraft_landings": h.maybe(90),
    },
    "reshims": lambda h: {"brake": h.pick("brakes"), "day": h.day(), "step_mm": 2.0},
    "deactivations": lambda h: {
        "brake": h.pick("brakes"),
        "from_on": h.day(),
        "to_on": h.day(),
        "why": "leak",
    },
    "events": lambda h: {"aircraft": h.pick("aircraft"), "day": h.day(), "event": "overheat"},
    "exclusions": lambda h: {
        "brake": h.pick("brakes"),
        "from_on": h.day(),
        "to_on": dt.date(2025, 9, 1),
        "why": "drags",
    },
    "aircraft_changes": lambda h: {
        "aircraft": h.pick("aircraft"),
        "from_on": h.day(),
        "new_registration": h.maybe(f"QX-{h.chance.randrange(100)}"),
        "base": h.maybe(h.pick("bases")),
    },
    "effectivity": lambda h: {
        "aircraft_type": h.pick("aircraft_types"),
        "aircraft": h.maybe(h.pick("aircraft")),
        "brake_type": h.pick("brake_types"),
        "mix": "any",
    },
    "stock": lambda h: {
        "base": h.pick("bases"),
        "brake_type": h.pick("brake_types"),
        "counted_on": h.day(),
        "serviceable": 2,
    },
    "orders": lambda h: {
        "base": h.pick("bases"),
        "brake_type": h.pick("brake_types"),
        "quantity": 3,
        "ordered_on": h.day(),
        "due_on": dt.date(2026, 1, 1),
    },
    "flying_plan": lambda h: {"base": h.pick("bases"), "month": dt.date(2026, 3, 1), "landings": 90.0},
}
# Keys of which the database holds one first version each.
UNIQUE = {
    "landings": ("aircraft", "day"),
    "rulings": ("reading",),
    "installations": ("brake", "installed_on"),
    "removals": ("installation",),
    "reshims": ("brake", "day"),
    "deactivations": ("brake", "from_on"),
    "aircraft_changes": ("aircraft", "from_on"),
    "shop_visits": ("brake", "sent_on"),
    "stock": ("base", "brake_type", "counted_on"),
}


def a_history(session, seed):
    history = History(random.Random(seed))
    write(session, history, masters(history, later))
    write(session, history, crafts(history, later))
    write(session, history, [one(history, "pin_readings", reading)])
    write(session, history, [one(history, "installations", RANDOM["installations"])])
    for _ in range(CHANGES):
        kinds = history.chance.sample(sorted(RANDOM), 3)
        rows = [one(history, kind, RANDOM[kind]) for kind in kinds]
        write(session, history, [row for row in rows if row])
        if history.chance.random() < 0.5:
            write(session, history, [another_version(history)])
    return history


def one(history, kind, make):
    row = {"file": kind, "known_on": later(history), **make(history)}
    key = UNIQUE.get(kind)
    taken = [fact for fact in history.facts if fact["file"] == kind and fact["version"] == 1]
    if key and any(all(fact[name] == row[name] for name in key) for fact in taken):
        return None
    return row


def another_version(history):
    """A correction or a withdrawal of what is latest, back-dated or not."""
    kinds = [kind for kind in RANDOM if history.of(kind)]
    fact = history.pick(history.chance.choice(kinds))
    before = max((row for row in history.facts if row["fact"] == fact), key=lambda row: row["version"])
    values = RANDOM[before["file"]](history)
    values |= {name: before[name] for name in UNIQUE.get(before["file"], ())}
    said = {"fact": fact, "version": before["version"] + 1, "supersedes": before["id"]}
    said |= {"withdrawn": history.chance.random() < 0.3, "known_on": later(history)}
    return {"file": before["file"], **values, **said}
