"""
Two columns under each other's headers: one hint in place of an error in every row.

Told from the cells where their kinds differ (a day where a count is wanted), else from the names on record (serials
where registrations are wanted).
"""

import itertools
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Final

import pandas as pd
from sqlalchemy.orm import Session

from db.errors import RowError
from db.files import USES_NAMES, Column
from db.files.column import DAYS, NUMBERS
from db.imports.cells import Cells
from db.imports.source import Rows
from db.lookup import aircraft_type_ids, base_ids, brake_type_ids, brakes_by_serial, registrations

LOOKED_AT: Final = 300
LEAST: Final = 3  # distinct texts in each column: fewer say nothing
MISFITS, FITS = 0.2, 0.9  # at most this share fits its own header, at least this share the other's

Fitting = Callable[[str, Collection[str]], float]


def swapped_by_kind(columns: Mapping[int, Column], rows: Rows, cells: Mapping[int, Cells]) -> set[str]:
    """Return the columns (in pairs) whose cells are read under each other's header and not under their own."""
    texts = {
        column.name: _distinct(row[place] for row in rows.texts[:LOOKED_AT])
        for place, column in columns.items()
    }
    places = {column.name: place for place, column in columns.items()}
    telling = {column.name for column in columns.values() if column.kind in NUMBERS + DAYS}

    def fit(name: str, given: Collection[str]) -> float:
        _, refused = cells[places[name]].read(list(given))
        return 1 - len(refused) / len(given)

    pairs = [
        (one, other)
        for one, other in itertools.permutations(texts, 2)
        if one in telling and _swapped(one, other, texts, fit)
    ]
    return set(pairs[0]) if pairs else set()


def swapped_by_name(session: Session, rows: pd.DataFrame, errors: Sequence[RowError]) -> tuple[str, ...]:
    """Return two columns of refused rows that hold names of each other's kind, by the names on record."""
    wrong = {error.column for error in errors}
    known = {name: _names(session, name) for name in wrong | set(rows.columns) if _kind(name) in NAMES}
    texts = {name: _distinct(map(str, rows[name].iloc[:LOOKED_AT])) for name in known if name in rows}

    def fit(name: str, given: Collection[str]) -> float:
        return sum(text in known[name] for text in given) / len(given)

    for one, other in itertools.combinations(sorted(texts), 2):
        both = _kind(one) != _kind(other) and {one, other} & wrong
        if both and _swapped(one, other, texts, fit) and _swapped(other, one, texts, fit):
            return one, other
    return ()


def hint(file: str, one: str, other: str) -> RowError:
    """Return the one error that stands for all those rows."""
    rule = f"columns {one} and {other} look swapped: each holds what belongs in the other"
    return RowError(
        file, 1, one, other, rule, "swap the two names in row 1, or match the columns the other way"
    )


def _swapped(one: str, other: str, texts: Mapping[str, Collection[str]], fit: Fitting) -> bool:
    if min(len(texts[one]), len(texts[other])) < LEAST or fit(one, texts[one]) > MISFITS:
        return False
    return fit(one, texts[other]) >= FITS and fit(other, texts[one]) >= FITS


def _distinct(texts: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(text for text in texts if text.strip()))


def _kind(column: str) -> str:
    return USES_NAMES.get(column, column)


NAMES: Final[Mapping[str, Callable[[Session], Collection[str]]]] = {
    "base": base_ids,
    "aircraft_type": aircraft_type_ids,
    "brake_type": brake_type_ids,
    "serial": lambda session: {serial for serial, _ in brakes_by_serial(session)},
    "registration": lambda session: set(registrations(session)["registration"]),
}


def _names(session: Session, column: str) -> Collection[str]:
    return NAMES[_kind(column)](session)
