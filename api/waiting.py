"""What waits for the records office: sheets, conflicts, held readings, moves half done, events, files."""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from sqlalchemy.orm import Session

from api import words
from api.access import within
from api.pages.navigation import BRING_IN, ENTRY_QUALITY, EVENTS, HELD, LANDINGS, MOVES, SHEETS
from db.based import bases_of
from db.corrections import doubted_readings, held_readings
from db.entry.landings_sheet import lines_of_sheet
from db.entry_quality import sheets_to_check
from db.half_done import half_done
from db.late_lines import late_lines, typed_values
from db.notices import open_notices, untold_takeoffs
from db.records.sheets import CONFLICT, STANDING
from db.sessions import LetIn as Person
from db.sheets import IssuedSheet, KeptLine, lines_of, sheets_in_conflict, sheets_waiting
from db.unreported import unreported_days
from db.uploaded import uploads_of

WINDOW: Final = dt.timedelta(days=30)
ONE_DAY: Final = dt.timedelta(days=1)
MOST_TOLD: Final = 8
MOST_HELD: Final = 100


@dataclass(frozen=True)
class Item:
    """
    So many of something, said in words, and where it is done; `more` says where to begin.

    Where there is no one place, `link` is empty and `each` names every one with its own.
    """

    count: int
    one: str
    many: str
    link: str
    more: str = ""
    each: tuple[tuple[str, str], ...] = ()

    @property
    def told(self) -> str:
        """The count in words."""
        return words.counted(self.count, self.one, self.many)


def waiting(session: Session, person: Person, *, on: dt.date) -> tuple[Item, ...]:
    """All that waits for this person at their bases, what is begun first; no study is opened."""
    found = (
        *_sheets(session, person, on),
        *_held(session, person, on),
        *_half_done(session, person, on),
        *_events(session, person, on),
        *_files(session, person),
        *_checks(session, person),
    )
    return tuple(item for item in found if item.count)


def _sheets(session: Session, person: Person, on: dt.date) -> Iterator[Item]:
    conflicts = _own(person, sheets_in_conflict(session))
    for sheet in conflicts[: 2 * MOST_TOLD]:
        against, torn = _late(session, sheet)
        begin = f"{against[0].place}, {typed_values(against[0])} by {against[0].person}" if against else ""
        yield Item(
            len(against),
            "line typed that differs from the record",
            "lines typed that differ from the record",
            link_to(sheet),
            f"{_named(sheet)}: {begin}: correct the record, or drop it",
        )
        if not torn:
            continue
        yield Item(
            1,
            "sheet on which two devices differ",
            "sheets on which two devices differ",
            link_to(sheet),
            f"{_named(sheet)}: look at both values",
        )
    out = _own(person, sheets_waiting(session))
    begun = [sheet for sheet in out if sheet.kind == "landings"]
    for sheet in begun[:MOST_TOLD]:
        if more := _resume(session, sheet):
            yield Item(
                1, "landings sheet begun", "landings sheets begun", link_to(sheet), f"{_named(sheet)}: {more}"
            )
    printed = [sheet for sheet in out if sheet.kind != "landings"]
    first_out = f"first {printed[0].kind}, {_named(printed[0])}" if printed else ""
    yield Item(
        len(printed), "printed sheet not typed back", "printed sheets not typed back", SHEETS.path, first_out
    )
    days = unreported_days(session, first=on - WINDOW, last=on - ONE_DAY, bases=person.bases)
    for base, of_base in groupby(days, key=lambda each: each.base):
        missing = list(of_base)
        first = missing[0]
        yield Item(
            len(missing),
            f"day not fully reported at {base or 'no base'}",
            f"days not fully reported at {base or 'no base'}",
            f"{LANDINGS.path}?base={base}&day={first.day}",
            f"first {words.day(first.day)}, {first.aircraft} of {words.counted(first.flying, 'aircraft', 'aircraft')}",
        )


def _late(session: Session, sheet: IssuedSheet) -> tuple[tuple[KeptLine, ...], bool]:
    """The lines of a sheet that wait against a record, and whether devices differ where nothing is on record."""
    kept = lines_of(session, sheet.code)
    if sheet.kind != "landings":
        return (), True
    lines = lines_of_sheet(session, sheet.base, sheet.day, sheet)
    there = {each.registration for each in lines if each.reported}
    late = tuple(found for line in lines for found in late_lines(kept, line))
    return late, any(each.state == CONFLICT and each.place not in there for each in kept)


def _resume(session: Session, sheet: IssuedSheet) -> str:
    """Where a begun sheet goes on; empty where nothing was typed in it."""
    typed = {each.place for each in lines_of(session, sheet.code) if each.state == STANDING}
    lines = [each for each in lines_of_sheet(session, sheet.base, sheet.day, sheet) if each.flies]
    left = [row for row, line in enumerate(lines, 1) if line.registration not in typed and not line.reported]
    if not typed:
        return ""
    return f"resume at row {left[0]}" if left else "all typed, not posted"


def _held(session: Session, person: Person, on: dt.date) -> Iterator[Item]:
    found = [
        each
        for each in held_readings(session, most=MOST_HELD)
        if _sees(person, bases_of(session, each.kind, [each.fact], on=on))
    ]
    yield Item(len(found), "held reading", "held readings", HELD.path, "a second person rules on each")
    doubted = [
        each
        for each in doubted_readings(session)
        if _sees(person, bases_of(session, each.reading.kind, [each.reading.fact], on=on))
    ]
    yield Item(
        len(doubted),
        "reading made doubtful by a correction",
        "readings made doubtful by corrections",
        HELD.path,
        "a second person rules on each",
    )


def _half_done(session: Session, person: Person, on: dt.date) -> Iterator[Item]:
    found = half_done(session, on=on)
    empty = [each for each in found.empty if within(person, each.base)]
    first = f"first {empty[0].registration}, position {empty[0].position}" if empty else ""
    yield Item(
        len(empty),
        "position empty on an aircraft that flies",
        "positions empty on aircraft that fly",
        MOVES.path,
        first,
    )
    lost = [each for each in found.placeless if within(person, each.base)]
    first = f"first {lost[0].serial}" if lost else ""
    yield Item(
        len(lost),
        "brake off with no place on record",
        "brakes off with no place on record",
        MOVES.path,
        first,
    )


def _events(session: Session, person: Person, on: dt.date) -> Iterator[Item]:
    untold = [
        each
        for each in untold_takeoffs(session)
        if _sees(person, bases_of(session, "aircraft", [each.aircraft], on=on))
    ]
    first = untold[0] if untold else None
    link = f"{EVENTS.path}?registration={first.registration}&day={first.day}" if first else EVENTS.path
    yield Item(
        len(untold), "rejected take-off without its event", "rejected take-offs without their event", link
    )
    bare = [
        each
        for each in open_notices(session)
        if _sees(person, bases_of(session, "aircraft", [each.aircraft], on=on))
    ]
    yield Item(
        len(bare),
        "event without an inspection on record",
        "events without an inspection on record",
        EVENTS.path,
    )


def _files(session: Session, person: Person) -> Iterator[Item]:
    for upload in uploads_of(session, person.name, now=dt.datetime.now(dt.UTC)):
        wrong = upload.tried.total if upload.tried else 0
        yield Item(
            1,
            "file waiting to be loaded",
            "",
            f"{BRING_IN.path}/{upload.number}",
            f"{words.counted(wrong, 'row needs', 'rows need')} fixing" if wrong else "nothing is loaded yet",
        )


def _checks(session: Session, person: Person) -> Iterator[Item]:
    """Sheets drawn to be typed a second time, by another person than typed them first."""
    drawn = [sheet for sheet in _own(person, sheets_to_check(session)) if sheet.posted_by != person.name]
    first = f"first {_named(drawn[0])}" if drawn else ""
    yield Item(
        len(drawn),
        "sheet to type a second time",
        "sheets to type a second time",
        ENTRY_QUALITY.path,
        first,
    )


def link_to(sheet: IssuedSheet) -> str:
    """Where a sheet is typed back."""
    return (
        f"{LANDINGS.path}?sheet={sheet.code}" if sheet.kind == "landings" else f"{SHEETS.path}/{sheet.code}"
    )


def _named(sheet: IssuedSheet) -> str:
    return f"{sheet.base or sheet.registration or 'no base'}, {words.day(sheet.day)}"


def _own(person: Person, sheets: Iterable[IssuedSheet]) -> list[IssuedSheet]:
    return [sheet for sheet in sheets if within(person, sheet.base)]


def _sees(person: Person, bases: set[str]) -> bool:
    return all(within(person, base) for base in bases)
