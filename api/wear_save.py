"""A wear check that is fit to be saved becomes records; one that is not goes back to whoever types it."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace

from sqlalchemy.orm import Session

from api.records import check_bases
from api.wear_basis import WearBasis
from api.wear_check import WearCheck, check_sheet, rows_to_save
from api.writes import today
from db.based import bases_written
from db.chain import Act
from db.entry.outcome import Outcome
from db.entry.sheets import post_sheet
from db.entry.versions import typed_rows
from db.entry.wear_check import Looked, record_wear_check
from db.errors import ConflictError, RowError, RowsRefusedError
from db.lookup import known_by
from db.secrets_kept import time_text
from db.sessions import LetIn as Person
from db.sheets import sheet_by_code

ACT = "enter a wear check"


class NotYetError(Exception):
    """Something must be put right or looked at again before the sheet can be saved."""


def save_check(session: Session, person: Person, basis: WearBasis, form: Mapping[str, str]) -> Outcome:
    """Save a sheet as typed, all of it or, by NotYetError or a refusal, nothing."""
    check = check_sheet(basis, form, posted=True)
    if check.errors or check.asks:
        raise NotYetError
    now = dt.datetime.now(dt.UTC)
    told, held = rows_to_save(check, on=basis.on)
    rows = typed_rows("pin_readings", list(told.values()), today=today())
    numbers = dict(zip(told, rows["row"].tolist(), strict=True))
    before = known_by(session).seq
    try:
        outcome = record_wear_check(
            session,
            Act(person.name, "form", ACT),
            rows,
            odd={numbers[at]: why for at, why in held.items()},
            looked={numbers[at]: _looked(check, at) for at in told},
            at=time_text(now),
        )
    except RowsRefusedError as error:
        raise RowsRefusedError(tuple(_about(basis, numbers, each) for each in error.errors)) from error
    check_bases(person, bases_written(session, person.name, before, on=today()))
    if form.get("sheet"):
        _refuse_other_sheet(session, basis, form["sheet"])
        post_sheet(session, form["sheet"], person=person.name, now=now)
    return outcome


def _refuse_other_sheet(session: Session, basis: WearBasis, code: str) -> None:
    sheet = sheet_by_code(session, code)
    if (sheet.kind, sheet.registration, sheet.day) != ("wear check", basis.registration, basis.on):
        raise ConflictError(
            f"sheet {sheet.code} is a {sheet.kind} of {sheet.registration or sheet.base} on {sheet.day}, "
            f"not a wear check of {basis.registration} on {basis.on}; bring up the sheet by its code"
        )


def _looked(check: WearCheck, at: int) -> tuple[Looked, ...]:
    brake = next(each for each in check.brakes if each.at == at)
    return tuple(
        Looked(number, each.asked, each.first, each.reason, changed=each.value != each.first)
        for number, each in enumerate(brake.typed, 1)
        if each.looked
    )


def _about(basis: WearBasis, numbers: Mapping[int, int], error: RowError) -> RowError:
    """The error with the position that it speaks of."""
    at = next(at for at, row in numbers.items() if row == error.row)
    return replace(error, rule=f"(position {basis.pins[at].position}) {error.rule}")
