"""What the ledger refuses, one small tree."""

from collections.abc import Mapping
from dataclasses import dataclass


class LedgerError(Exception):
    """Base of the ledger's errors; the message names the thing, the value found, the value wanted and what to do."""


@dataclass(frozen=True)
class RowError:
    """What is wrong with one row: where, what was found, the rule, and what to do."""

    file: str
    row: int
    column: str
    value: str
    rule: str
    suggestion: str

    def told(self) -> str:
        """All of it on one line; a whole file has no row, a whole row no column."""
        row = f" row {self.row}" if self.row else ""
        cell = f", {self.column} = {self.value!r}" if self.column else ""
        return f"{self.file}{row}{cell}: {self.rule}; {self.suggestion}"


class RowsRefusedError(LedgerError):
    """Rows that break a rule; nothing of the load was kept."""

    def __init__(self, errors: tuple[RowError, ...]) -> None:
        super().__init__(f"{self.counted(errors)}; first: {errors[0].told()}")
        self.errors = errors

    @staticmethod
    def counted(errors: tuple[RowError, ...]) -> str:
        """How many errors, in words."""
        return "1 error" if len(errors) == 1 else f"{len(errors)} errors"


class ConflictError(LedgerError):
    """Another entry landed first and a rule of the ledger now refuses this one; nothing of it was kept."""


class StaleVersionError(LedgerError):
    """A correction of a version that is no longer the one that stands; `tag` and `told` are of the one that does."""

    def __init__(self, message: str, tag: str, told: Mapping[str, str]) -> None:
        super().__init__(message)
        self.tag = tag
        self.told = told


class KeyReusedError(LedgerError):
    """The key of an earlier write came again with something else."""


class TooManyWritesError(LedgerError):
    """One person, or a program in their name, writes more often than work does."""


class NotFoundError(LedgerError):
    """Something asked for is not in the ledger."""


class SchemaError(LedgerError):
    """The database has a schema that this version of the program does not know."""


class FullError(LedgerError):
    """There is no room left where the ledger is kept."""


class AwayError(LedgerError):
    """The database cannot be reached, or is too busy, just now."""


class DamagedError(LedgerError):
    """The database's own pages cannot be read, or what is named is no database."""


class BrokenChainError(LedgerError):
    """The log does not verify; `seq` is the first sequence number that is broken."""

    def __init__(self, seq: int, found: str) -> None:
        super().__init__(f"sequence number {seq}: {found}")
        self.seq = seq
