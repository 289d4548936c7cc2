"""Lines of a landings sheet that say something else than the record of that day; they wait until somebody rules."""

from collections.abc import Iterable, Mapping
from typing import Final

from db.imports.numbers import parse_count
from db.imports.refused import CellError
from db.landing_lines import AircraftLine, Reported
from db.records.sheets import CONFLICT, STANDING
from db.sheets import KeptLine

OPEN: Final = (STANDING, CONFLICT)


def says_the_record(typed: Mapping[str, str], reported: Reported) -> bool:
    """Return whether all that was typed is what the record says; a blank field says nothing, a blank line differs."""
    given = {field: text for field, text in typed.items() if text}
    return bool(given) and all(
        _count(text) == getattr(reported, field, None) is not None for field, text in given.items()
    )


def late_lines(kept: Iterable[KeptLine], line: AircraftLine) -> tuple[KeptLine, ...]:
    """Return the lines of an aircraft that wait against its record; none where nothing is on record."""
    found = line.reported
    if found is None:
        return ()
    return tuple(
        each
        for each in kept
        if each.place == line.registration and each.state in OPEN and not says_the_record(each.typed, found)
    )


def typed_values(kept: KeptLine) -> str:
    """Return what a line says, in words."""
    return ", ".join(filter(None, kept.typed.values())) or "nothing"


def _count(text: str) -> int | None:
    try:
        return int(parse_count(text, least=0))
    except CellError:
        return None
