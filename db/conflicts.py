"""What the database's own rules refuse, said in words."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from sqlalchemy.exc import IntegrityError

from db.errors import ConflictError

SAME_FIRST: Final = "someone else entered the same record first"
# By the words that each database puts in its message: the constraint's name, or on SQLite the columns of a plain one.
RULES: Final = {
    "one_brake_a_position": "another brake is in that position at that time",
    "one_position_a_brake": "that brake is in another position at that time",
    "occupancy.aircraft, occupancy.position": "another brake is in that position at that time",
    "occupancy.brake": "that brake is in another position at that time",
    "totals_never_fall": "the running total of landings would fall between two days on record",
    "one_record_a_key": SAME_FIRST,
    "append_only": "facts are appended, never changed; enter a correction",
    "supersedes": "someone else corrected that record first",
    "version": "someone else corrected that record first",
    "UNIQUE constraint failed": SAME_FIRST,
    "duplicate key": SAME_FIRST,
}


def conflict(rule: str) -> ConflictError:
    """Say which rule another entry made this one break."""
    return ConflictError(f"{rule}; look at the record as it is now, then enter it again")


@contextmanager
def conflicts_in_words() -> Iterator[None]:
    """Turn the refusal of a database rule into a ConflictError; anything else passes as it is."""
    try:
        yield
    except IntegrityError as error:
        found = str(error.orig)
        for mark, rule in RULES.items():
            if mark in found:
                raise conflict(rule) from error
        raise
