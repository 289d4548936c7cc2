"""What became of the rows handed in."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Flag:
    """Something odd that was recorded all the same, and why somebody should look at it."""

    row: int
    text: str


@dataclass(frozen=True)
class RowRecord:
    """The record that a row is now: its number, the version that stands, and whether this row made that."""

    row: int
    record: int
    version: int
    new: bool = True


@dataclass(frozen=True)
class Outcome:
    """
    Facts added, rows already known, ends filled in, readings held for a second person, and what is odd.

    `records` are those of rows typed one by one; a file's many rows are counted only.
    """

    added: int = 0
    same: int = 0
    completed: int = 0
    held: int = 0
    flags: tuple[Flag, ...] = ()
    records: tuple[RowRecord, ...] = ()
