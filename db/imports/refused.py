"""What an import refuses: one cell, or the whole load with every error found."""

from collections.abc import Iterable
from typing import Final

from db.errors import LedgerError, RowError, RowsRefusedError

ERRORS_KEPT: Final = 1_000


class CellError(LedgerError):
    """One cell that cannot be read: the rule it breaks and what to write instead."""

    def __init__(self, rule: str, suggestion: str) -> None:
        super().__init__(f"{rule}; {suggestion}")
        self.rule = rule
        self.suggestion = suggestion


class ImportRefusedError(RowsRefusedError):
    """A load refused: the first errors found, how many there are in all, and the files not checked to the end."""

    def __init__(self, errors: tuple[RowError, ...], total: int, unchecked: tuple[str, ...]) -> None:
        super().__init__(errors)
        first = errors[0]
        listed = f", the first {len(errors)} listed" if total > len(errors) else ""
        found = f"{first.file} row {first.row}, {first.column} = {first.value!r}: {first.rule}; {first.suggestion}"
        cut = f"; not checked to the end: {', '.join(unchecked)}" if unchecked else ""
        self.args = (f"{total} error{'s' * (total > 1)}{listed}; nothing was kept; first: {found}{cut}",)
        self.total = total
        self.unchecked = unchecked


class Findings:
    """Errors as they are found: the first thousand kept, all of them counted."""

    def __init__(self) -> None:
        self.kept: list[RowError] = []
        self.total = 0

    def add(self, *errors: RowError) -> None:
        """Take these errors in."""
        self.add_many(errors, len(errors))

    def add_many(self, errors: Iterable[RowError], count: int) -> None:
        """Take `count` errors in; only those that are kept are made."""
        room = ERRORS_KEPT - len(self.kept)
        self.total += count
        if room > 0:
            self.kept.extend(error for error, _ in zip(errors, range(room), strict=False))
