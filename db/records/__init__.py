"""The tables, by noun."""

from db.records import (
    brakes,
    checks,
    economics,
    editions,
    fleet,
    loads,
    log,
    people,
    readings,
    scores,
    sheets,
)

__all__ = [
    "brakes",
    "checks",
    "economics",
    "editions",
    "fleet",
    "loads",
    "log",
    "people",
    "readings",
    "scores",
    "sheets",
]
