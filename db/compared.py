"""Which tables are compared with the log, and which are no part of it: every table stands on one side."""

import json
from typing import Any, Final

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session

from db.chain import unpacked
from db.errors import BrokenChainError
from db.records.loads import FileLoad, LoadWithdrawal
from db.records.log import Change

# Beside the tables of facts, each of which is rebuilt from the log.
COMPARED: Final = ("change", "chain_head", "occupancy", "file_load", "load_withdrawal")
# What would have to be believed: the log says nothing of it, or not enough to make it again.
OUTSIDE: Final = {
    "who is let in": (
        *(
            "person",
            "person_session",
            "person_password",
            "person_authenticator",
            "one_time_link",
            "api_token",
        ),
        *("outside_identity", "sign_in_attempt", "sign_in_begun", "access_act"),
    ),
    "sheets and what is typed on them": ("sheet", "sheet_line", "sheet_check"),
    "readings looked at again or doubted": ("look_again", "doubted_reading"),
    "what studies gave": ("kept_study", "kept_score", "wear_state", "wear_prior"),
    "files that wait and their columns": ("file_source", "upload", "upload_part"),
    "answers to writes": ("answered_key",),
}
NOT_COMPARED: Final = "no part of the log, and not compared with it: " + "; ".join(
    f"{what} ({', '.join(tables)})" for what, tables in OUTSIDE.items()
)
TAKEN_BACK: Final = "withdraw a load"  # the act, as the log has it


def compare_loads(session: Session) -> None:
    """A load and its withdrawal must be of changes by that person, for that reason, and no withdrawal be missing."""
    for table in (FileLoad, LoadWithdrawal):
        _raise_from(session.scalar(select(func.min(table.first_seq)).where(_of_others(table))), table)
    covered = select(LoadWithdrawal.load).where(
        Change.seq.between(LoadWithdrawal.first_seq, LoadWithdrawal.last_seq)
    )
    missing = select(func.min(Change.seq)).where(Change.act == TAKEN_BACK, ~covered.exists())
    _raise_from(session.scalar(missing), LoadWithdrawal)
    said = select(LoadWithdrawal.first_seq, LoadWithdrawal.reason, Change.body)
    # Where each record was withdrawn by itself before, the load's withdrawal made no change.
    said = said.where(LoadWithdrawal.first_seq <= LoadWithdrawal.last_seq)
    for seq, reason, body in session.execute(said.join(Change, Change.seq == LoadWithdrawal.first_seq)):
        _raise_from(None if json.loads(unpacked(body))["reason"] == reason else seq, LoadWithdrawal)


def _of_others(table: type[FileLoad | LoadWithdrawal]) -> ColumnElement[Any]:
    own = Change.seq.between(table.first_seq, table.last_seq) & (Change.person == table.person)
    changes = select(func.count(Change.seq)).where(own).scalar_subquery()
    return changes != table.last_seq - table.first_seq + 1


def _raise_from(seq: int | None, table: type[FileLoad | LoadWithdrawal]) -> None:
    if seq is not None:
        raise BrokenChainError(seq, f"{table.__tablename__} does not say what the log does of a load")
