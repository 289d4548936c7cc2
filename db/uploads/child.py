"""The process that opens one upload: bound by limits first, then bytes in, the plain form out, and gone."""

import json
import sys
from typing import Final

from db.uploads.limits import MOST_BYTES, hold_to_limits

NO_MEMORY: Final = 3


def main() -> int:
    """Read the file from standard input, named by the first word and written as the second says."""
    hold_to_limits()
    # The workbook library would import it, for types that no upload has.
    sys.modules["numpy"] = None  # type: ignore[assignment]
    from db.imports.written import written_from  # noqa: PLC0415 - after the limits, like all that follows
    from db.uploads.opening import open_upload  # noqa: PLC0415
    from db.uploads.spool import spooled  # noqa: PLC0415

    name, told = sys.argv[1], json.loads(sys.argv[2])
    try:
        content = sys.stdin.buffer.read(MOST_BYTES + 1)
        for line in spooled(name, open_upload(name, content, written_from(told))):
            sys.stdout.buffer.write(line.encode())
        sys.stdout.buffer.flush()
    except MemoryError:
        return NO_MEMORY
    return 0


if __name__ == "__main__":
    sys.exit(main())
