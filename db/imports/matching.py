"""The columns of another file matched with ours by a person, and the source laid out anew by that."""

import difflib
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Final

from db.errors import RowError, RowsRefusedError
from db.files import FILES, File
from db.files.column import PIN
from db.imports.measures import units_known
from db.imports.source import Rows, Source
from db.imports.texts import nearest
from db.imports.written import PLAIN, Written, written_from

LIKE: Final = 0.75  # a header as near as this to one of our names is proposed; the person has the word


@dataclass(frozen=True)
class Matching:
    """
    What the columns of one file are: theirs to ours ("" left out), units other than ours, values that no column gives.

    `written` is how the file is written. A header that `columns` does not name is not known.
    """

    columns: Mapping[str, str]
    units: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    written: Written = PLAIN

    def told(self) -> dict[str, Any]:
        """Return it as JSON has it."""
        return asdict(self)


def matching_from(told: Mapping[str, Any]) -> Matching:
    """Return the matching that `told` gave."""
    return Matching(told["columns"], told["units"], told["constants"], written_from(told["written"]))


def proposed(file: File, header: Sequence[str], known: Matching | None) -> dict[str, str]:
    """Return for each header the column of ours to offer: as matched before, named alike, or near enough."""
    tidy = {name: re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_") for name in header if name}
    found = {name: known.columns.get(name, "") for name in tidy} if known else dict.fromkeys(tidy, "")
    for name, like in tidy.items():
        taken = set(found.values())
        if known and name in known.columns:
            continue
        if (file.column(like)) and like not in taken:
            found[name] = like
    free = [column.name for column in file.columns if column.name not in set(found.values())]
    for name, like in tidy.items():
        if not found[name] and not (known and name in known.columns):
            near = difflib.get_close_matches(like, free, n=1, cutoff=LIKE)
            found[name] = near[0] if near else ""
            free = [each for each in free if each not in near]
    return found


def checked_matching(kind: str, matching: Matching) -> Matching:
    """Return a matching without what says nothing; what cannot be is refused, all of it at once."""
    file = FILES.get(kind)
    if file is None:
        rule, advice = "is no kind of record", f"choose one of {', '.join(FILES)}"
        raise RowsRefusedError((RowError(kind, 0, "kind", kind, rule, advice),))
    ours = {theirs: name for theirs, name in matching.columns.items() if name}
    constants = {name: value.strip() for name, value in matching.constants.items() if value.strip()}
    units = {
        name: unit for name, unit in matching.units.items() if unit and name in {*ours.values(), *constants}
    }
    errors = [
        *_wrong_columns(file, ours),
        *_wrong_units(file, units),
        *_wrong_constants(file, ours, constants),
    ]
    given = {*ours.values(), *constants}
    errors += [
        RowError(
            kind,
            1,
            column.name,
            "",
            "is required, and nothing gives it",
            "match a column, or write a value for all rows",
        )
        for column in file.columns
        if column.required and column.name not in given
    ]
    if errors:
        raise RowsRefusedError(tuple(errors))
    kept = {name: unit for name, unit in units.items() if unit != units_known(_column(file, name))[0]}
    return replace(matching, constants=constants, units=kept)


def matched(kind: str, source: Source, matching: Matching) -> tuple[Source, list[RowError]]:
    """Return the source with our columns in place of its own, and what is wrong with its header."""
    header = [name.strip(" ") for name in source.header]
    errors = [*_twice(kind, header), *_unknown(kind, header, matching), *_gone(kind, header, matching)]
    places = {place: matching.columns.get(name, "") for place, name in enumerate(header)}
    places = {place: name for place, name in places.items() if name}
    constants = dict(matching.constants)
    told = {name: header[place] for place, name in places.items()}
    rows = _laid_out(
        source.rows, list(places), list(constants.values()), {header[p]: n for p, n in places.items()}
    )
    ours = [*places.values(), *constants]
    units = {name: unit for name, unit in matching.units.items() if name in ours}
    return Source(kind, ours, source.total, rows, matching.written, told, units), errors


def _laid_out(
    given: Iterator[Rows], places: list[int], constants: list[str], ours: Mapping[str, str]
) -> Iterator[Rows]:
    for rows in given:
        texts = [[row[place] for place in places] + constants for row in rows.texts]
        errors = tuple(replace(error, column=ours.get(error.column, error.column)) for error in rows.errors)
        yield Rows(rows.numbers, texts, errors, broken=rows.broken)


def _wrong_columns(file: File, ours: Mapping[str, str]) -> Iterator[RowError]:
    for theirs, name in ours.items():
        if file.column(name) is None:
            near = nearest(name, [column.name for column in file.columns])
            yield RowError(
                file.name, 1, theirs, name, f"is not a column of {file.name}", f"choose {near}, if meant"
            )
    for name, times in Counter(ours.values()).items():
        if times > 1:
            both = " and ".join(theirs for theirs, our in ours.items() if our == name)
            yield RowError(
                file.name, 1, name, both, "is given by more than one column", "leave one of them out"
            )


def _wrong_units(file: File, units: Mapping[str, str]) -> Iterator[RowError]:
    for name, unit in units.items():
        known = units_known(_column(file, name)) if file.column(name) else ()
        if unit not in known:
            wanted = f"choose one of {', '.join(known)}" if known else "leave the unit out"
            yield RowError(file.name, 1, name, unit, "is no unit of this column", wanted)


def _wrong_constants(file: File, ours: Mapping[str, str], constants: Mapping[str, str]) -> Iterator[RowError]:
    for name, value in constants.items():
        if file.column(name) is None:
            yield RowError(
                file.name, 1, name, value, f"is not a column of {file.name}", "leave the value out"
            )
        elif name in ours.values():
            rule = "has a value for all rows and a column of its own"
            yield RowError(file.name, 1, name, value, rule, "keep one of them")


def _twice(kind: str, header: Sequence[str]) -> Iterator[RowError]:
    for name, times in Counter(header).items():
        if times > 1 and name:
            yield RowError(kind, 1, name, name, "a column stands twice in the header", "keep one of them")


def _unknown(kind: str, header: Collection[str], matching: Matching) -> Iterator[RowError]:
    for name in header:
        if name and name not in matching.columns:
            rule = "is a column that was not there when the columns of this source were matched"
            yield RowError(
                kind, 1, name, name, rule, "match it under Bring in records, or say there to leave it out"
            )


def _gone(kind: str, header: Collection[str], matching: Matching) -> Iterator[RowError]:
    for name, our in matching.columns.items():
        if our and name not in header:
            rule = f"a column of this source is missing; it gives {our}"
            near = nearest(name, [each for each in header if each] or [""])
            yield RowError(
                kind, 1, name, "", rule, f"add it, or match the columns anew; is it the one named {near}?"
            )


def _column(file: File, name: str) -> Any:  # noqa: ANN401 - a column that is known to be there
    return file.column(name)


def pins_of(header: Collection[str]) -> list[str]:
    """Return as many pin columns as a file with this header can have."""
    most = max(2, *(int(name[4:]) for name in header if PIN.fullmatch(name)), 2)
    return [f"pin_{number}" for number in range(1, most + 3)]
