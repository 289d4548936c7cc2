"""The command that checks the ledger, and says what it did not check."""

import argparse
import os
import sys
from pathlib import Path

from api.output import write
from db import schema
from db.anchor_forms import anchors_of
from db.anchors import note_today
from db.checked import Checked, check_kept, check_ledger
from db.errors import LedgerError
from db.session import Session, open_engine, reading

COLUMNS = ("facts", "seq", "head", "anchors", "latest_anchor", "changes_since", "rebuilt")


def verify(asked: argparse.Namespace) -> int:
    """Recompute the chain against every anchor; a broken one is refused by its error."""
    place = os.environ.get("PINLEDGER_ANCHORS", "")
    if asked.begin_anchors and not place:
        raise LedgerError(
            "PINLEDGER_ANCHORS names no place to begin anchors at; set it to a file or folder elsewhere"
        )
    engine = open_engine(asked.db)
    schema.check(engine)
    with Session(reading(engine)) as session:
        found = _checked(session, asked, place)
        # Only a file whose every line held is added to: a lost or changed one stays as it is, to be looked for.
        if place and (asked.begin_anchors or not asked.anchor):
            note_today(session, Path(place), begin=asked.begin_anchors)
    write(found, asked.format, columns=COLUMNS)
    if found.anchors:
        sys.stderr.write(f"{found.anchors} {'anchor holds' if found.anchors == 1 else 'anchors hold'}\n")
    for line in found.not_checked:
        sys.stderr.write(f"{line}\n")
    return 0


def _checked(session: Session, asked: argparse.Namespace, place: str) -> Checked:
    if asked.anchor or asked.begin_anchors:
        return check_ledger(session, anchors_of(asked.anchor) if asked.anchor else (), rebuild=asked.rebuild)
    return check_kept(session, place, rebuild=asked.rebuild)
