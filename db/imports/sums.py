"""
The list that an export carries of its own files: rows and SHA-256, in the form that `sha256sum -c` reads.

The import of a folder with such a list takes it whole or not at all. Lines of rows begin with `#`, which that program
passes over.
"""

import contextlib
import csv
import hashlib
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

from db.errors import RowError
from db.imports.source import SUMS

LINE: Final = re.compile(r"^([0-9a-f]{64}) [ *](.+)$", re.MULTILINE)
ROWS: Final = re.compile(r"^# ([0-9]+) rows: (.+)$", re.MULTILINE)
ADVICE: Final = f"export once more; if the files were changed on purpose, delete {SUMS} and import again"


def sha256_of(file: Path) -> str:
    """SHA-256 of a file, as text."""
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def write_sums(folder: Path, rows: Mapping[str, int]) -> None:
    """Write the list of every file that is in the folder; `rows` are told by file name."""
    lines = []
    for file in sorted(folder.iterdir()):
        if file.name in rows:
            lines.append(f"# {rows[file.name]} rows: {file.name}")
        lines.append(f"{sha256_of(file)}  {file.name}")
    (folder / SUMS).write_text("\n".join(lines) + "\n", encoding="utf-8")


def differing(folder: Path) -> Iterator[RowError]:
    """Files of a folder that are not what its list says; none where there is no list."""
    if not (folder / SUMS).is_file():
        return
    told = (folder / SUMS).read_text(encoding="utf-8", errors="replace")
    rows = {name: f", {count} rows" for count, name in ROWS.findall(told)}
    listed = LINE.findall(told)
    if not listed:
        yield RowError(SUMS, 0, "", SUMS, "lists no file", ADVICE)
    for wanted, name in listed:
        file = folder / Path(name).name
        if not file.is_file():
            yield RowError(name, 0, "", name, f"is missing; {SUMS} lists it{rows.get(name, '')}", ADVICE)
        elif (found := sha256_of(file)) != wanted:
            held = f", {_rows_in(file)} rows" if name in rows and file.suffix == ".csv" else ""
            rule = f"has SHA-256 {found}{held}; {SUMS} says {wanted}{rows.get(name, '')}"
            yield RowError(name, 0, "", name, rule, ADVICE)


def _rows_in(file: Path) -> int:
    """Rows below the header, as far as they can be read."""
    found = -1
    with file.open(encoding="utf-8", errors="replace", newline="") as text, contextlib.suppress(csv.Error):
        for _ in csv.reader(text):
            found += 1
    return max(found, 0)
