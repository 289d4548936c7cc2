"""Files opened in a process apart: traps are refused in little time and memory, good ones come out as they went in."""

import json
import subprocess
import sys

import pytest

from db.errors import RowError
from db.imports.written import PLAIN
from db.uploads.apart import command, surroundings
from db.uploads.spool import parts_of, source_of
from tests.db.bombs import BOMBS

SECONDS = 2  # of processor time: the tests run beside others
MEMORY_KB = 200 * 1024
# Which of the guards refuses it: others behind it would stop most of them too, later.
SAID = {
    "300 MiB of zeros": "unpacks to 300 MiB",
    "a size that lies": "Bad CRC-32",
    "members that lie over each other": "has parts that lie over each other",
    "archives within archives": "has an archive within it",
    "five thousand members": "is an archive of more than 2000 parts",
    "entities of entities": "declares its own XML",
    "one long entity many times": "declares its own XML",
    "an entity from outside": "declares its own XML",
    "entities hidden in UTF-16": "declares its own XML",
    "XML 200,000 deep": "has XML more than 64 deep",
    "an attribute of 30 MiB": "has a piece of XML that does not end",
    "a comment that hardly ends": "has a piece of XML that does not end",
    "a cell of 30 MiB": "has a cell of more than 32767 characters",
    "a billion rows told": "says that it goes to XFD1000000000",
    "a row far down": "or a row further down",
    "cells far to the right": "has a cell at XFD1",
    "200,000 rows": "has more than 50000 rows",
    "four million texts": "has too many elements in xl/sharedStrings.xml",
    "300,000 styles": "has too many elements in xl/styles.xml",
    "lines without end": "has 2097152 lines",
    "columns without end": "has a line of more than 500000 characters",
    "a field of 10 MiB": "has a line of more than 500000 characters",
    "a quote never closed": "field larger than field limit",
    "more than 10 MiB": "is larger than 10 MiB",
    "a compressed text": "is compressed (gzip)",
}
# A small process, because what a process used counts what it was forked from.
MEASURE = """
import json, os, subprocess, sys
for name in sys.argv[2:]:
    with open(name, "rb") as file:
        child = subprocess.Popen(json.loads(sys.argv[1]), stdin=file, stdout=subprocess.PIPE)
        lines = child.stdout.read().decode()
        _, status, used = os.wait4(child.pid, 0)
    print(json.dumps([os.waitstatus_to_exitcode(status), used.ru_utime + used.ru_stime, used.ru_maxrss, lines]))
"""


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """For each trap how its process ended, its processor seconds, its memory, and what it told."""
    paths = [tmp_path_factory.mktemp("trap") / "bases.csv" for _ in BOMBS]
    for path, made in zip(paths, BOMBS.values(), strict=True):
        path.write_bytes(made())
    words = [sys.executable, "-c", MEASURE, json.dumps(command("bases.csv", PLAIN)), *map(str, paths)]
    done = subprocess.run(words, capture_output=True, text=True, env=surroundings(), check=True)
    return dict(zip(BOMBS, map(json.loads, done.stdout.splitlines()), strict=True))


def errors_in(lines):
    for found in parts_of(lines):
        if isinstance(found, RowError):
            yield found
        else:
            assert found.rows <= 1
            yield from (
                error for rows in source_of(found.title, found.plain, PLAIN).rows for error in rows.errors
            )


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_trap_is_refused_in_two_seconds_and_200_mib(bomb, measured):
    status, seconds, kilobytes, lines = measured[bomb]
    errors = list(errors_in(lines.splitlines(keepends=True)))
    print(f"{bomb}: {seconds:.2f} s, {kilobytes / 1024:.0f} MiB, {[error.rule for error in errors]}")  # noqa: T201 - the figures
    assert status == 0
    assert SAID[bomb] in errors[0].rule
    assert all(error.rule and error.suggestion for error in errors)
    assert seconds < SECONDS
    assert kilobytes < MEMORY_KB
