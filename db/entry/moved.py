"""Installations and removals corrected and withdrawn: everything checked again, the place in the fleet with it."""

import datetime as dt
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd
from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.chain import Act, append
from db.conflicts import conflicts_in_words
from db.entry.fits import fit_flags
from db.entry.installations import COLUMNS, installations_known, start_flags
from db.entry.keyed import Resolved, other_facts, sort_by_key
from db.entry.named import Named
from db.entry.outcome import Flag, Outcome
from db.entry.possible import (
    refuse_clashes,
    refuse_days_ahead,
    refuse_in_the_shop,
    refuse_no_position,
    refuse_unended,
)
from db.entry.versions import refuse_record, typed_rows, withdrawn_version
from db.files import FILES
from db.lookup import current
from db.plain import plain_columns, rows_of
from db.recorded import OF_REMOVALS, Recorded, read_record
from db.records.brakes import Installation, Occupancy, Removal

FIXED: Final = ("serial", "brake_type")  # of a removal: it is of the installation that it ends


def correct_stay(
    session: Session, act: Act, found: Recorded, texts: Mapping[str, str], *, today: dt.date
) -> Outcome:
    """Record the next version of an installation or of a removal, unless the two cannot both be true."""
    installation = _installation(session, found)
    made = read_record(session, installation).now
    removal = session.execute(current(Removal).where(Removal.installation == installation)).one_or_none()
    if found.kind == "installations":
        ended = read_record(session, removal.fact).now.told if removal else {}
        whole = {**texts, **{name: ended.get(name, "") for name in OF_REMOVALS}}
    else:
        _refuse_other_brake(found, texts)
        if made.withdrawn:
            refuse_record(
                found, "serial", texts["serial"], "its installation is withdrawn", "bring that one back first"
            )
        whole = {**made.told, **{name: texts[name] for name in OF_REMOVALS}}
    stay = _checked(session, installation, whole, today=today)
    model = Installation if found.kind == "installations" else Removal
    append(session, act, [(model, [_next(model, found, stay, texts)])])
    _project(session, stay)
    return Outcome(added=1, flags=_flags(session, stay))


def withdraw_stay(session: Session, act: Act, found: Recorded) -> None:
    """Withdraw an installation and its removal, or a removal alone: then the brake is where it was, if it can be."""
    installation = _installation(session, found)
    rows: list[tuple[type[Fact], list[dict[str, Any]]]] = [
        (model, [withdrawn_version(row)])
        for model, key in ((Installation, Installation.fact), (Removal, Removal.installation))
        for row in session.execute(current(model).where(key == installation))
        if found.kind == "installations" or model is Removal
    ]
    if found.kind == "removals":
        made = read_record(session, installation).now.told
        stay = _checked(session, installation, {**made, **dict.fromkeys(OF_REMOVALS, "")}, today=None)
        append(session, act, rows)
        _project(session, stay)
        return
    append(session, act, rows)
    session.execute(delete(Occupancy).where(Occupancy.installation == installation))


def _installation(session: Session, found: Recorded) -> int:
    if found.kind == "installations":
        return found.fact
    return session.scalars(select(Removal.installation).where(Removal.id == found.fact)).one()


def _checked(
    session: Session, installation: int, texts: Mapping[str, str], *, today: dt.date | None
) -> pd.DataFrame:
    """Return the stay in one row, as the tables have it; refused if it cannot be."""
    day = today or dt.datetime.now(dt.UTC).date()
    rows = typed_rows("installations", [texts], today=day)
    named = Named(session, FILES["installations"], rows)
    refuse_days_ahead(named, "installed_on", "removed_on")
    table = pd.DataFrame({field: rows[column] for field, column in COLUMNS.items()})
    table = table.assign(brake=named.brakes(), aircraft=named.aircraft(rows["installed_on"]), row=1)
    table = table.assign(known_on=rows["recorded_on"])
    named.refuse_if_any()
    table = table.astype({"brake": "int64", "aircraft": "int64"}).assign(fact=installation)
    known = other_facts(installations_known(session, table["brake"].tolist()), table)
    key = sort_by_key(Resolved(named.file, rows, table, COLUMNS), known[~known["withdrawn"]])
    named.errors += key.errors
    refuse_unended(named)
    refuse_no_position(named, table)
    refuse_clashes(named, table, closed=table.iloc[:0])
    refuse_in_the_shop(named, table)
    named.refuse_if_any()
    return table


def _next(model: type[Fact], found: Recorded, stay: pd.DataFrame, texts: Mapping[str, str]) -> dict[str, Any]:
    """Return the next version of the installation or the removal as its table has it."""
    named = {"aircraft_landings": "landings_off", "installation": "fact"} if model is Removal else {}
    said: dict[str, Any] = {
        "fact": found.fact,
        "version": found.now.version + 1,
        "supersedes": found.now.record,
    }
    said |= {name: texts[name] or None for name in ("work_order", "note")}
    columns = table_of(model).columns.keys()
    own = {name: stay[named.get(name, name)] for name in columns if named.get(name, name) in stay}
    row = rows_of(plain_columns(table_of(model), pd.DataFrame(own)))[0]
    return {**{name: row[name] for name in own}, **said}


def _project(session: Session, stay: pd.DataFrame) -> None:
    """Say in the one place for it where the brake is by what is known now."""
    names = {"fact": "installation", "installed_on": "from_on", "removed_on": "to_on"}
    table = table_of(Occupancy)
    span = rows_of(plain_columns(table, stay.rename(columns=names)[table.columns.keys()]))[0]
    where = table.c.installation == span["installation"]
    with conflicts_in_words():
        changed = session.execute(update(table).where(where).values(span).returning(table.c.installation))
        if changed.first() is None:
            session.execute(table.insert(), span)


def _flags(session: Session, stay: pd.DataFrame) -> tuple[Flag, ...]:
    known = other_facts(installations_known(session, stay["brake"].tolist()), stay)
    return (*start_flags(stay, known), *fit_flags(session, stay))


def _refuse_other_brake(found: Recorded, texts: Mapping[str, str]) -> None:
    for name in FIXED:
        if texts[name] != found.now.told[name]:
            rule = "a removal is of the brake that was installed"
            refuse_record(found, name, texts[name], rule, "correct the installation instead")
