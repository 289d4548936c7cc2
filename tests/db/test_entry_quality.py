"""How good what was typed is: corrections are counted of records typed in, each once."""

import datetime as dt

from db.chain import Act
from db.entry.corrections import correct, withdraw
from db.entry.landings import record_landings
from db.entry_quality import entry_quality
from db.lookup import current
from db.recorded import read_record
from db.records.readings import Landing
from db.session import Session
from tests.ledger import TODAY, rows

DAYS = [dt.date(2026, 3, day) for day in (1, 2, 3, 4)]
WHY = Act("cora", "form", "correct a record", "read again")
GONE = Act("cora", "form", "withdraw a record", "twice")


def record(session, act, days):
    told = [{"registration": "ZZ-001", "day": day, "full_stops": 4} for day in days]
    record_landings(session, act, rows("landings", *told))


def mend(session, day, *, to=None):
    fact = session.scalars(current(Landing).where(Landing.day == day).with_only_columns(Landing.fact)).one()
    found = read_record(session, fact)
    if to is None:
        withdraw(session, GONE, fact, version=found.tag)
    else:
        correct(session, WHY, fact, version=found.tag, values={"full_stops": to}, today=TODAY)


def test_a_correction_counts_once_and_only_of_a_record_that_was_typed_in(small_fleet: Session):
    record(small_fleet, Act("cora", "form", "enter landings"), DAYS[:3])
    record(small_fleet, Act("cora", "import landings.csv", "load"), DAYS[3:])
    for day, to in ((DAYS[0], "5"), (DAYS[0], "6"), (DAYS[1], None), (DAYS[3], "5")):
        mend(small_fleet, day, to=to)
    found = entry_quality(small_fleet, since=dt.date(2020, 1, 1))
    assert (found.records, found.corrections) == (3, 2)
    later = entry_quality(small_fleet, since=dt.date(2999, 1, 1))
    assert (later.records, later.corrections) == (0, 0)
