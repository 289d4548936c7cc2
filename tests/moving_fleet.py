"""A small ledger for moves: three brakes fitted, four off, two of whose serials end alike. Nobody real is meant."""

import datetime as dt

from db.chain import append
from db.entry.installations import record_installations
from db.lookup import aircraft_type_ids, base_ids, brake_type_ids
from db.people import add_person
from db.records.brakes import Brake
from db.records.fleet import Aircraft, BaseStation, Effectivity
from db.session import Session, open_engine
from tests.ledger import ACT, fleet, installation, rows


def make_moving_fleet(url):
    """
    Fill a migrated ledger; ann is a clerk, hal a clerk of Home alone.

    ZZ-001 has AB-1001 and AB-1002 in positions 1 and 2, ZZ-002 has AB-1003 in 1; AB-2004 to -2006 and XY-2004 are off.
    The type may carry BT-1, and XY-2004 is of BT-2. ZZ-101 and ZZ-102 are at Home and bare;
    ZZ-201 is at Away and has AB-3001 in position 1.
    """
    engine = open_engine(url)
    with Session(engine) as session, session.begin():
        fleet(session)
        kinds, twin = brake_type_ids(session), aircraft_type_ids(session)["twin"]
        home = base_ids(session)["Home"]
        based = [{"registration": f"ZZ-10{n}", "aircraft_type": twin, "base": home} for n in (1, 2)]
        away = append(session, ACT, [(BaseStation, [{"base": "Away"}])]).records[0][0]
        based.append({"registration": "ZZ-201", "aircraft_type": twin, "base": away})
        append(session, ACT, [(Aircraft, based)])
        serials = ("AB-1001", "AB-1002", "AB-1003", "AB-2004", "AB-2005", "AB-2006", "AB-3001")
        made = [
            {"serial": serial, "brake_type": kinds["BT-1"], "landings_since_new": 0} for serial in serials
        ]
        append(session, ACT, [(Brake, [*made, {"serial": "XY-2004", "brake_type": kinds["BT-2"]}])])
        rule = {"aircraft_type": twin, "brake_type": kinds["BT-1"], "mix": "none"}
        append(session, ACT, [(Effectivity, [rule])])
        there = [
            installation("AB-1001", 1, "2026-01-01"),
            installation("AB-1002", 2, "2026-01-01"),
            installation("AB-1003", 1, "2026-01-01", registration="ZZ-002"),
            installation("AB-3001", 1, "2026-01-01", registration="ZZ-201"),
        ]
        record_installations(session, ACT, rows("installations", *there))
        add_person(session, "ann", "clerk", now=dt.datetime.now(dt.UTC))
        add_person(session, "hal", "clerk", now=dt.datetime.now(dt.UTC), bases=("Home",))
    engine.dispose()
