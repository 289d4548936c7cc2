"""The plain form of what a file holds, a JSON line a row: what is safe to hand on, to keep, and to read again."""

import json
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from typing import Any, Final

from db.errors import RowError
from db.imports.source import ROWS_AT_ONCE, Rows, Source
from db.imports.written import Written
from db.uploads.limits import BY_COMMAND, MIB, MOST_COLUMNS, MOST_PLAIN, MOST_ROWS
from db.uploads.refusal import UploadRefusedError

LONGEST_SHOWN: Final = 60
SHOWN: Final = 3  # rows kept beside the header, to tell columns by


@dataclass(frozen=True)
class Part:
    """One table of a file in its plain form: what it is called, its header, how many rows, its first rows, and all."""

    title: str
    header: tuple[str, ...]
    rows: int
    first: tuple[tuple[str, ...], ...]
    plain: bytes


def spooled(name: str, found: Iterable[Source | RowError]) -> Iterator[str]:
    """Return the lines of what a file holds; more than an upload may hold is refused in its place."""
    try:
        yield from _within_limits(_lines(found))
    except UploadRefusedError as refused:
        yield _line({"refused": asdict(refused.of_file(name))})


def parts_of(lines: Iterable[str]) -> list[Part | RowError]:
    """Return the tables that these lines tell of; a file that was refused half-way has none."""
    told = [(line, json.loads(line)) for line in lines if line]
    refused = [
        RowError(**item["refused"]) for _, item in told if isinstance(item, dict) and "refused" in item
    ]
    groups: list[list[tuple[str, Any]]] = []
    for line, item in told:
        if isinstance(item, dict) and "part" in item:
            groups.append([])
        if groups and not (isinstance(item, dict) and "refused" in item):
            groups[-1].append((line, item))
    return [*refused] if refused and refused[0].row == 0 else [*map(_part, groups), *refused]


def source_of(part_title: str, plain: bytes, written: Written) -> Source:
    """Return the table of the plain form as rows of texts."""
    lines = zlib.decompress(plain).decode().splitlines()
    told = json.loads(lines[0])["part"]
    return Source(part_title, told["header"], len(lines) - 1, _rows(lines[1:]), written)


def _lines(found: Iterable[Source | RowError]) -> Iterator[str]:
    rows = 0
    for item in found:
        if isinstance(item, RowError):
            yield _line({"refused": asdict(item)})
            continue
        if len(item.header) > MOST_COLUMNS:
            rule = f"has {len(item.header)} columns; at most {MOST_COLUMNS} are read"
            raise UploadRefusedError(rule, "leave out the columns that are not needed")
        yield _line({"part": {"title": item.name, "header": item.header}})
        for given in item.rows:
            rows += len(given.numbers)
            if rows > MOST_ROWS:
                raise UploadRefusedError(f"has more than {MOST_ROWS} rows", BY_COMMAND)
            yield from (_line([n, *texts]) for n, texts in zip(given.numbers, given.texts, strict=True))
            yield from (_line({"error": asdict(error)}) for error in given.errors)
            if given.broken:
                yield _line({"broken": True})


def _within_limits(lines: Iterator[str]) -> Iterator[str]:
    written = 0
    for line in lines:
        written += len(line)
        if written > MOST_PLAIN:
            raise UploadRefusedError(f"holds more than {MOST_PLAIN // MIB} MiB of text", BY_COMMAND)
        yield line


def _line(item: object) -> str:
    return json.dumps(item, ensure_ascii=True, separators=(",", ":")) + "\n"


def _part(lines: list[tuple[str, Any]]) -> Part:
    told = lines[0][1]["part"]
    rows = [item[1:] for _, item in lines[1:] if isinstance(item, list)]
    wrong = {item["error"]["row"] for _, item in lines[1:] if isinstance(item, dict) and "error" in item}
    met = {item[0] for _, item in lines[1:] if isinstance(item, list)}
    plain = zlib.compress("".join(line if line.endswith("\n") else f"{line}\n" for line, _ in lines).encode())
    first = tuple(tuple(map(_shown, row)) for row in rows[:SHOWN])
    return Part(told["title"], tuple(told["header"]), len(met | wrong), first, plain)


def _shown(text: str) -> str:
    """Return the beginning of a cell as any page can show it."""
    return text[:LONGEST_SHOWN].encode("utf-8", "replace").decode()


def _rows(lines: list[str]) -> Iterator[Rows]:
    for at in range(0, len(lines), ROWS_AT_ONCE):
        told = [json.loads(line) for line in lines[at : at + ROWS_AT_ONCE]]
        rows = [item for item in told if isinstance(item, list)]
        errors = tuple(
            RowError(**item["error"]) for item in told if isinstance(item, dict) and "error" in item
        )
        broken = any(isinstance(item, dict) and "broken" in item for item in told)
        yield Rows([row[0] for row in rows], [row[1:] for row in rows], errors, broken=broken)
