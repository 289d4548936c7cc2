"""A file opened in a process apart: what comes back is plain rows or one clear refusal, whatever the file did."""

import json
import subprocess
import sys
import threading
from dataclasses import asdict
from pathlib import Path
from typing import Final

import db
from db.errors import RowError
from db.imports.written import Written
from db.uploads.child import NO_MEMORY
from db.uploads.limits import BY_COMMAND, MEMORY, MIB, MOST_BYTES, SECONDS
from db.uploads.refusal import TOO_LARGE, UploadRefusedError
from db.uploads.spool import Part, parts_of

# Of one process that serves: each takes a core and up to its limit of memory; the others wait their turn.
AT_ONCE: Final = threading.BoundedSemaphore(2)
ROOT: Final = Path(db.__file__).parent.parent


def command(name: str, written: Written) -> list[str]:
    """Return the command that opens a file of this name, given on its standard input."""
    return [sys.executable, "-m", "db.uploads.child", name, json.dumps(asdict(written))]


def surroundings() -> dict[str, str]:
    """Return all that the process is told: no setting, address or secret of the service."""
    return {"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1", "PYTHONUTF8": "1"}


def read_apart(name: str, content: bytes, written: Written) -> list[Part | RowError]:
    """Return the tables of a file, and why what is not among them is refused."""
    if len(content) > MOST_BYTES:
        return [TOO_LARGE.of_file(name)]
    try:
        return parts_of(_lines(name, content, written))
    except UploadRefusedError as refused:
        return [refused.of_file(name)]


def _lines(name: str, content: bytes, written: Written) -> list[str]:
    words = command(name, written)
    try:
        with AT_ONCE:
            done = subprocess.run(  # noqa: S603 - our own program; the name is one word of it, never a shell's
                words,
                input=content,
                capture_output=True,
                timeout=SECONDS,
                env=surroundings(),
                cwd=ROOT,
                check=False,
            )
    except subprocess.TimeoutExpired as late:
        raise UploadRefusedError(f"took more than {SECONDS} s to read", BY_COMMAND) from late
    if done.returncode == NO_MEMORY or b"MemoryError" in done.stderr:
        raise UploadRefusedError(f"needs more than {MEMORY // MIB} MiB of memory to read", BY_COMMAND)
    if done.returncode < 0:
        raise UploadRefusedError(
            f"took more than {SECONDS} s to read, or more memory than it may", BY_COMMAND
        )
    if done.returncode:
        raise UploadRefusedError("cannot be read", "save it again as xlsx or CSV, and bring that in")
    return done.stdout.decode().splitlines(keepends=True)
