"""Commands on the ledger itself: migrate, export, backup, restore."""

import argparse
import datetime as dt
import os
import sys
from dataclasses import asdict
from pathlib import Path

from sqlalchemy import Engine

from api.output import write
from db import app_role, schema
from db.anchor_forms import kept_anchors
from db.anchors import note_today
from db.backup import back_up
from db.errors import LedgerError
from db.export import export as write_folder
from db.lookup import known_by
from db.restore import Restored
from db.restore import restore as restore_from
from db.session import Session, open_engine, reading
from db.studies import seq_of


def migrate(asked: argparse.Namespace) -> int:
    """Bring the database to this version's schema, and give the application's role what it needs there."""
    schema.migrate(asked.db)
    sys.stdout.write(f"{asked.db}: at the schema of this version\n")
    engine = open_engine(asked.db)
    for role in [asked.app_role] if asked.app_role else app_role.granted(engine):
        made = app_role.grant(engine, role)
        sys.stdout.write(f"{role}: may add and read facts, and change none\n")
        if made:
            sys.stdout.write(f"{role}: made without a password; give it one, or a rule in pg_hba.conf\n")
    engine.dispose()
    return 0


def export(asked: argparse.Namespace) -> int:
    """Write the whole ledger as the import's own files."""
    engine = open_engine(asked.db)
    schema.check(engine)
    with Session(reading(engine)) as session:
        seq = seq_of(session, asked.known_head) if asked.known_head else None
        written = write_folder(session, Path(asked.folder), known=known_by(session, asked.known_on, seq=seq))
    write([{"file": name, "rows": rows} for name, rows in written.items()], asked.format)
    return 0


def backup(asked: argparse.Namespace) -> int:
    """Write the whole ledger into one file, verified."""
    engine = open_engine(asked.db)
    file, manifest = back_up(engine, Path(asked.file), now=dt.datetime.now(dt.UTC))
    _note(engine)
    told = asdict(manifest)
    write({"file": str(file), **told, "rows": sum(told["rows"].values())}, asked.format)
    return 0


def restore(asked: argparse.Namespace) -> int:
    """Bring a backup to a database, proven there."""
    found = restore_from(Path(asked.file), asked.db, now=dt.datetime.now(dt.UTC), replace=asked.replace)
    write(asdict(found), asked.format)
    _tell_later(found)
    sys.stderr.write(
        f"access is as it was at {found.made_at}: look at `pinledger person list`; "
        "sessions, links and tokens have ended\n"
    )
    return 0


def _tell_later(found: Restored) -> None:
    """Say what the anchors know beyond a backup; it stands restored whether they can be read or not."""
    try:
        anchors = kept_anchors(os.environ.get("PINLEDGER_ANCHORS", ""), changes=found.seq)
    except LedgerError as error:
        sys.stderr.write(f"whether facts are missing after the backup is not known: {error}\n")
        return
    later = [(anchor.facts, anchor.day) for anchor in anchors if (anchor.facts or 0) > found.facts]
    if later:
        facts, day = later[-1]
        sys.stderr.write(
            f"the anchors know of {(facts or 0) - found.facts} later facts, up to {day}: enter them again; keep that "
            "file of anchors and begin a new one with `pinledger verify --begin-anchors`\n"
        )


def _note(engine: Engine) -> None:
    """Note the head in the anchors that are kept; a backup is made whether that can be done or not."""
    place = os.environ.get("PINLEDGER_ANCHORS", "")
    if place:
        try:
            with Session(reading(engine)) as session:
                note_today(session, Path(place))
        except LedgerError as error:
            sys.stderr.write(f"no anchor noted: {error}\n")
