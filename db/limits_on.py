"""Wear limits and brake types as the arithmetic of limits reads them, without the rest of the records."""

import datetime as dt

from sqlalchemy.orm import Session

from db.approved import limits_that_count
from db.lookup import brake_type_ids, known_by
from db.observed import read
from lifecycle.observations import COLUMNS, Records, records_from


def limit_records(session: Session, *, on: dt.date) -> tuple[Records, dict[str, tuple[str, ...]]]:
    """Return the limits that count on a day with their brake types, and the sources of each type's limits."""
    known = known_by(session)
    names = {number: name for name, number in brake_type_ids(session).items()}
    limits = limits_that_count(session, on, known)
    limits = limits.assign(brake_type=limits["brake_type"].map(names).astype("str"))
    limits = limits[list(COLUMNS["wear_limits"])].astype({"record": "int64"})
    types = read(session, "brake_types", on, known)[list(COLUMNS["brake_types"])]
    sources = {
        str(name): tuple(dict.fromkeys(source for source in found if source))
        for name, found in limits.groupby("brake_type")["source"]
    }
    return records_from({"wear_limits": limits, "brake_types": types}), sources
