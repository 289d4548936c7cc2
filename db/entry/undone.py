"""
Records of a load that was withdrawn whole: the same key in a file brings them back as their next version.

A record that somebody withdrew by itself stays withdrawn whatever a file says: the file may only be old.
"""

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.records.loads import LoadWithdrawal


def brought_back(session: Session, rows: pd.DataFrame, key: list[str], known: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with fact, version and superseded record where a withdrawn load had brought that key."""
    if "fact" in rows or not (undone := _undone(session, known)).any():
        return rows
    numbers = known.loc[undone, [*key, "fact", "version", "id"]].drop_duplicates(key, keep="last")
    found = rows[key].merge(numbers, on=key, how="left").set_index(rows.index)
    found = found.mask(rows.duplicated(key))
    return rows.assign(fact=found["fact"], version=found["version"] + 1, supersedes=found["id"])


def _undone(session: Session, known: pd.DataFrame) -> "pd.Series[bool]":
    """Say which rows of a frame of facts were withdrawn with their load."""
    undone = pd.Series(False, index=known.index)
    if known.empty or not known["withdrawn"].any():
        return undone
    for span in session.execute(select(LoadWithdrawal.first_seq, LoadWithdrawal.last_seq)):
        undone |= known["withdrawn"] & known["seq"].between(span.first_seq, span.last_seq)
    return undone
