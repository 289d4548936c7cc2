"""What a file or a sheet gives before anything is known of its meaning: texts in rows."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from db.errors import RowError
from db.imports.written import PLAIN, Written

ROWS_AT_ONCE: Final = 20_000
README: Final = "README"
EDITIONS: Final = "editions"
SUMS: Final = "SHA256SUMS"  # an export's list of its own files

# Called with the steps done and the steps in all; a row is one step to read and one to record.
Progress = Callable[[int, int], None]


def is_readme(name: str) -> bool:
    """
    Whether a file (without its ending) or sheet of this name is passed over.

    A README and a list of digests tell of records and hold none; an edition was frozen in the log of the ledger that it
    came from, and travels on in a backup, not by import.
    """
    return name.upper() in (README, EDITIONS.upper(), SUMS)


class Meter:
    """Steps done of a load."""

    def __init__(self, progress: Progress | None, total: int) -> None:
        self._progress = progress
        self._total = total
        self._done = 0

    def add(self, steps: int) -> None:
        """Count these steps as done."""
        self._reach(self._done + steps)

    def from_here(self) -> Callable[[int], None]:
        """Return what counts steps done from now on; called with how many there are by then."""
        here = self._done
        return lambda done: self._reach(here + done)

    def end(self) -> None:
        """Say that all is done; the total was an estimate."""
        self._reach(self._total)

    def _reach(self, done: int) -> None:
        self._done = done
        self._total = max(self._total, done)
        if self._progress is not None:
            self._progress(done, self._total)


@dataclass(frozen=True)
class Rows:
    """
    Some rows in order: `numbers` are their rows in the file (the header is row 1), each as wide as the header.

    `errors` are of rows and cells that gave nothing to read; `broken` says that nothing after them can be read.
    """

    numbers: list[int]
    texts: list[list[str]]
    errors: tuple[RowError, ...] = ()
    broken: bool = False


@dataclass(frozen=True)
class Source:
    """
    One file or sheet: its name, what stands in row 1, how many rows there may be, the rows after it, how it is written.

    Where its columns were matched with ours, `told` has what the file itself calls each of ours, and `units` the unit
    of those that it gives in another than ours.
    """

    name: str
    header: list[str]
    total: int
    rows: Iterator[Rows]
    written: Written = PLAIN
    told: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
