"""Lines pasted from a spreadsheet, matched by registration and never by their row."""

import re
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

ORDER: Final[tuple[str, ...]] = ("landings", "touch_and_gos", "rejected_takeoffs")
# Words of a heading and the field that they name; `landings` is what each line of the sheet gives.
HEADINGS: Final = {
    "landings": "landings",
    "full_stops": "landings",
    "total_landings": "landings",
    "running_total": "landings",
    "total": "landings",
    "touch_and_gos": "touch_and_gos",
    "rejected_takeoffs": "rejected_takeoffs",
    "rejected_take_offs": "rejected_takeoffs",
}
BETWEEN: Final = re.compile(r"[;,]|\s+")


@dataclass(frozen=True)
class Pasted:
    """
    What was pasted: by registration the text of each field, and what was left out.

    `unmatched` are registrations that the sheet does not ask for, `twice` those that came more than once, `unread`
    the columns with something in them that are none of the sheet.
    """

    lines: Mapping[str, Mapping[str, str]]
    unmatched: tuple[str, ...]
    twice: tuple[str, ...]
    unread: tuple[str, ...]


def read_pasted(text: str, registrations: Collection[str]) -> Pasted:
    """Return the lines of a pasted text; a first row without figures is read as headings."""
    rows = [cells for line in text.splitlines() if any(cells := _cells(line))]
    fields = ORDER
    headings: tuple[str, ...] = ()
    if rows and not any(re.search(r"\d", cell) for cell in rows[0][1:]) and len(rows[0]) > 1:
        headings = tuple(rows[0][1:])
        fields = tuple(_field(cell) for cell in headings)
        rows = rows[1:]
    known = {_plain(each): each for each in registrations}
    names = [_plain(row[0]) for row in rows]
    twice = {name for name, times in Counter(names).items() if times > 1}
    return Pasted(
        {
            known[name]: {field: cell for field, cell in zip(fields, row[1:], strict=False) if field and cell}
            for name, row in zip(names, rows, strict=True)
            if name in known and name not in twice
        },
        tuple(dict.fromkeys(row[0] for name, row in zip(names, rows, strict=True) if name not in known)),
        tuple(known[name] for name in dict.fromkeys(names) if name in twice and name in known),
        _unread(rows, fields, headings),
    )


def _unread(rows: list[list[str]], fields: tuple[str, ...], headings: tuple[str, ...]) -> tuple[str, ...]:
    """The columns by their heading, or by their number, from which nothing was taken although they hold something."""
    taken = {place for place, field in enumerate(fields) if field}
    found = {place for row in rows for place, cell in enumerate(row[1:]) if cell} - taken
    named = dict(enumerate(headings))
    return tuple(named.get(place) or f"number {place + 2}" for place in sorted(found))


def _cells(line: str) -> list[str]:
    parts = line.split("\t") if "\t" in line else BETWEEN.split(line.strip())
    return [part.strip() for part in parts]


def _field(heading: str) -> str:
    return HEADINGS.get(re.sub(r"[^a-z]+", "_", heading.lower()).strip("_"), "")


def _plain(registration: str) -> str:
    return registration.strip().upper()
