"""What a folder of CSV files or a workbook brings: the sources whose names are known, the others refused."""

import io
from pathlib import Path
from typing import Final

from db.errors import NotFoundError, RowError
from db.files import FILES
from db.imports.csv_file import SAVE_AS_CSV, open_csv
from db.imports.source import Source, is_readme
from db.imports.sums import differing
from db.imports.texts import nearest
from db.imports.workbook import open_workbook
from db.imports.written import PLAIN, Written

WORKBOOKS: Final = (".xlsx", ".xlsm")


def open_all(path: Path, written: Written = PLAIN) -> tuple[list[Source], list[RowError]]:
    """Return the sources in loading order, and why the others are not among them."""
    if not path.exists():
        raise NotFoundError(f"{path} is not there; wanted a folder of CSV files or a workbook (.xlsx)")
    found = _in_folder(path, written) if path.is_dir() else _in_file(path, written)
    # A file that is not as it was exported comes first: what else is wrong with it follows from that.
    errors = [*differing(path), *(item for item in found if isinstance(item, RowError))]
    sources: dict[str, Source] = {}
    for item in found:
        if isinstance(item, Source) and item.name in sources:
            errors.append(
                RowError(item.name, 0, "", item.name, "is there twice", "keep one file of each name")
            )
        elif isinstance(item, Source):
            sources[item.name] = item
    if not found:
        raise NotFoundError(
            f"{path} has nothing to import; wanted files such as {', '.join(list(FILES)[:3])} (.csv)"
        )
    return [sources[name] for name in FILES if name in sources], errors


def open_unnamed(path: Path, written: Written) -> list[Source | RowError]:
    """Return every table of a folder, a workbook or one file, whatever they are called."""
    if not path.exists():
        raise NotFoundError(
            f"{path} is not there; wanted a folder of CSV files, one of them, or a workbook (.xlsx)"
        )
    found: list[Source | RowError] = [*differing(path)]
    for file in _paths(path) if path.is_dir() else [path]:
        if file.suffix.lower() in WORKBOOKS:
            opened = _workbook(file, written)
            found += [opened] if isinstance(opened, RowError) else opened
        else:
            found.append(_csv(file, written) if file.is_file() else _misplaced(file))
    return found


def _paths(folder: Path) -> list[Path]:
    """Hidden files, a README and a list of digests are not records; everything else is, or is in the wrong place."""
    return [p for p in sorted(folder.iterdir()) if not p.name.startswith(".") and not is_readme(p.stem)]


def _workbook(path: Path, written: Written) -> list[Source] | RowError:
    content = path.read_bytes()
    opened = open_workbook(path.name, lambda: io.BytesIO(content), written)
    return opened if isinstance(opened, RowError) else [s for s in opened if not is_readme(s.name)]


def _in_folder(folder: Path, written: Written) -> list[Source | RowError]:
    """Hidden files and a README (here, or as a sheet) are not records; all else is, or is in the wrong place."""
    return [
        _named(path.name, path.stem) or _csv(path, written) if _is_csv(path) else _misplaced(path)
        for path in _paths(folder)
    ]


def _in_file(path: Path, written: Written) -> list[Source | RowError]:
    if path.suffix.lower() not in WORKBOOKS:
        return [_named(path.name, path.stem) or _csv(path, written) if _is_csv(path) else _misplaced(path)]
    opened = _workbook(path, written)
    if isinstance(opened, RowError):
        return [opened]
    return [_named(f"sheet {source.name}", source.name) or source for source in opened]


def _csv(path: Path, written: Written) -> Source | RowError:
    return open_csv(path.stem, lambda: path.open("rb"), written)


def _is_csv(path: Path) -> bool:
    return path.is_file() and path.suffix.lower() == ".csv"


def _misplaced(path: Path) -> RowError:
    if path.is_dir():
        return RowError(
            path.name, 0, "", path.name, "is a folder; wanted CSV files", "import that folder by itself"
        )
    suggestion = "import the workbook by itself" if path.suffix.lower() in WORKBOOKS else SAVE_AS_CSV
    return RowError(path.name, 0, "", path.name, "is not a CSV file or an xlsx workbook", suggestion)


def _named(shown: str, name: str) -> RowError | None:
    """Why records cannot have this name, if they cannot."""
    if name in FILES:
        return None
    suggestion = (
        f"name it {nearest(name, FILES)} if that is what it holds, or take it away; known: {', '.join(FILES)}"
    )
    return RowError(shown, 0, "", name, "is not the name of a file of records", suggestion)
