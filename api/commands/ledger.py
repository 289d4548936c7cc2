"""Commands on the ledger itself: migrate, export, verify, backup, restore."""

import argparse
import datetime as dt
import os
import sys
from dataclasses import asdict
from pathlib import Path

from sqlalchemy import Engine

from api.output import write
from db import app_role, schema
from db.anchors import Anchor, file_of, note_today, read_anchors
from db.backup import back_up
from db.export import export as write_folder
from db.lookup import known_by
from db.restore import restore as restore_from
from db.session import Session, open_engine, reading
from db.studies import seq_of
from db.verify import verify as verify_chain


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


def verify(asked: argparse.Namespace) -> int:
    """Recompute the chain against every anchor; a broken one is refused by its error."""
    engine = open_engine(asked.db)
    schema.check(engine)
    anchors = read_anchors(Path(asked.anchor)) if asked.anchor else _kept_anchors()
    with Session(reading(engine)) as session:
        found = verify_chain(session, *anchors, rebuild=asked.rebuild)
    _note(engine)
    write(asdict(found), asked.format)
    if anchors:
        told = "anchor holds" if len(anchors) == 1 else "anchors hold"
        sys.stderr.write(f"{len(anchors)} {told}\n")
    if not asked.rebuild:
        sys.stderr.write("the log alone was checked; --rebuild also compares every table with it\n")
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
    later = [anchor for anchor in _kept_anchors() if anchor.facts > found.facts]
    if later:
        sys.stderr.write(
            f"the anchors know of {later[-1].facts - found.facts} later facts, up to {later[-1].day}: enter them "
            "again; keep that file of anchors and begin a new one\n"
        )
    sys.stderr.write(
        f"access is as it was at {found.made_at}: look at `pinledger person list`; "
        "sessions, links and tokens have ended\n"
    )
    return 0


def _kept_anchors() -> tuple[Anchor, ...]:
    """The anchors of the setting, none where there is no such file yet."""
    place = os.environ.get("PINLEDGER_ANCHORS", "")
    return read_anchors(Path(place)) if place and file_of(Path(place)).exists() else ()


def _note(engine: Engine) -> None:
    place = os.environ.get("PINLEDGER_ANCHORS", "")
    if place:
        with Session(reading(engine)) as session:
            note_today(session, Path(place))
