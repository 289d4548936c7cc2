"""A disk so small that it can be filled: a real one where this process may mount, else SQLite's own limit of pages."""

import contextlib
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

from sqlalchemy import Engine, event


@contextlib.contextmanager
def small_disk(folder: Path, size_kb: int) -> Iterator[bool]:
    """Mount a small disk on a folder; False where that is not allowed."""
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size_kb}k", "tmpfs", str(folder)]
    mounted = subprocess.run(mount, capture_output=True, check=False).returncode == 0
    try:
        yield mounted
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)


@contextlib.contextmanager
def no_room(engine: Engine, folder: Path, *, mounted: bool) -> Iterator[None]:
    """Leave no room on the disk, or no further page to the database."""
    if mounted:
        with _filled(folder):
            yield
        return
    with _no_page_more(engine):
        yield


@contextlib.contextmanager
def _filled(folder: Path) -> Iterator[None]:
    filler = folder / "filler"
    with filler.open("wb", buffering=0) as taking, contextlib.suppress(OSError):
        while True:
            taking.write(b"0" * 512)
    yield
    filler.unlink()


@contextlib.contextmanager
def _no_page_more(engine: Engine) -> Iterator[None]:
    limit: Callable[..., object] = lambda connection, _: connection.execute("PRAGMA max_page_count=1")  # noqa: E731
    engine.dispose()
    event.listen(engine, "connect", limit)
    yield
    event.remove(engine, "connect", limit)
    engine.dispose()
