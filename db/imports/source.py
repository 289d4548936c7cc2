"""What a file or a sheet gives before anything is known of its meaning: texts in rows."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from db.errors import RowError

ROWS_AT_ONCE: Final = 20_000

# Called with what is being done, rows done, and rows in all.
Progress = Callable[[str, int, int], None]


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
    """One file or sheet: its name, what stands in row 1, how many rows there may be, and the rows after it."""

    name: str
    header: list[str]
    total: int
    rows: Iterator[Rows]
