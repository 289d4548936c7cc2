"""Refuse files that have grown past what one reader can hold: 400 lines."""

import subprocess
import sys
from pathlib import Path

LIMIT_LINES = 400
SUFFIXES = (".py", ".js", ".css", ".html")

listed = subprocess.run(
    ["git", "ls-files", "--cached", "--others", "--exclude-standard"],  # noqa: S607
    capture_output=True,
    text=True,
    check=True,
).stdout.splitlines()
sizes = {
    name: len(Path(name).read_text(encoding="utf-8").splitlines())
    for name in listed
    if name.endswith(SUFFIXES) and Path(name).exists()
}
long_files = {name: lines for name, lines in sizes.items() if lines > LIMIT_LINES}
for name, lines in sorted(long_files.items()):
    sys.stderr.write(f"{name}: {lines} lines, at most {LIMIT_LINES} are wanted; split it by idea\n")
sys.stdout.write(f"{len(sizes)} files, longest {max(sizes.values(), default=0)} lines\n")
sys.exit(1 if long_files else 0)
