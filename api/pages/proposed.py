"""What a line that waits against a record proposes to the form that corrects it."""

from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from api import words
from api.access import within
from api.pages.navigation import CORRECTIONS, LANDINGS
from db.entry.landings_sheet import late_line_of
from db.late_lines import typed_values
from db.recorded import Recorded
from db.sessions import LetIn as Person


@dataclass(frozen=True)
class Proposal:
    """The line by its key, that it waits in a sentence, its values by column, and where its sheet is."""

    key: str
    told: str
    values: Mapping[str, str]
    sheet_at: str


def proposal_at(record: int, key: str) -> str:
    """Where a record is corrected to what the line of this key says."""
    return f"{CORRECTIONS.path}/{record}?{urlencode({'line': key})}"


def proposal_of(session: Session, person: Person, found: Recorded, key: str) -> Proposal | None:
    """What the line of this key proposes for a record; that it waits no longer; None where no line was asked for."""
    late = late_line_of(session, found.fact, key) if key else None
    if late is None or not within(person, late.sheet.base):
        gone = "The line that was typed waits no longer: it was dropped, or the record says the same."
        return Proposal("", gone, {}, "") if key else None
    values = {name: text for name, text in late.proposed.items() if name in found.now.told}
    sheet = f"{late.sheet.base or 'no base'}, {words.day(late.sheet.day)}, sheet {late.sheet.code}"
    told = f"{typed_values(late.line)} was typed by {late.line.person} against this record ({sheet})."
    if values:
        told += " The form is filled in with it: save it with a reason if the paper says so, or drop it."
    elif any(late.line.typed.values()):
        told += " The record is of several days and the line of one: nothing is filled in from it."
    return Proposal(key, told, values, f"{LANDINGS.path}?{urlencode({'sheet': late.sheet.code})}")
