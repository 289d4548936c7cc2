"""What an upload may be, and what the process that opens it may use; the command line knows no such limits."""

import resource
from typing import Final

MIB: Final = 1 << 20

MOST_BYTES: Final = 10 * MIB
MOST_UNPACKED: Final = 100 * MIB
MOST_ROWS: Final = 50_000
MOST_COLUMNS: Final = 200
MOST_PLAIN: Final = 48 * MIB  # rows as texts, as they are handed on
SECONDS: Final = 20
MEMORY: Final = 512 * MIB
OPEN_FILES: Final = 32

# A cell of a workbook holds at most so many characters (a limit of the format's programs, common practice).
LONGEST_CELL: Final = 32_767
LONGEST_LINE: Final = 500_000
LINES_A_ROW: Final = 4  # physical lines: cells may hold line breaks

# Of the archive that a workbook is, and of the XML in it.
MOST_MEMBERS: Final = 2_000
LONGEST_DIRECTORY: Final = MIB
MOST_SHEETS: Final = 50
MOST_MARKS: Final = 6_000_000  # "<", over all parts
MOST_MARKS_BESIDE: Final = 200_000  # in any part that is neither a sheet nor its texts
LONGEST_PIECE: Final = 300_000  # of XML that has to be seen whole
DEEPEST: Final = 64

BY_COMMAND: Final = "split the file, or have it brought in by command line, which has no such limit"


def hold_to_limits() -> None:
    """Bind this process, for good: memory, time, open files; it writes no file and leaves no dump."""
    for what, most in (
        (resource.RLIMIT_AS, MEMORY),
        (resource.RLIMIT_CPU, SECONDS),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_NOFILE, OPEN_FILES),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(what)
        bound = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(what, (bound, bound))
