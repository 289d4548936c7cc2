"""
Small files that would cost a careless reader its memory or its time: each with its name and its bytes.

Built after public descriptions of such traps (D. Fifield, "A better zip bomb", WOOT 2019; OWASP, "XML External Entity
Prevention" and the entity expansions named there; Python bug reports on large XML tokens), from memory.
"""

import io
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping

from openpyxl import Workbook

MIB = 1 << 20
SHEET = "xl/worksheets/sheet1.xml"
TEXTS = "xl/sharedStrings.xml"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
HEAD = f'<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="{MAIN}">'
TEXT_HEAD = f'<?xml version="1.0" encoding="UTF-8"?><sst xmlns="{MAIN}">'


def workbook(changed: Mapping[str, bytes] = {}) -> bytes:
    """A small good workbook with other bytes in some of its parts."""
    good, out = io.BytesIO(), io.BytesIO()
    book = Workbook()
    book.active.title = "bases"
    for row in (["base"], ["East"]):
        book.active.append(row)
    book.save(good)
    with zipfile.ZipFile(good) as before, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as after:
        for name in before.namelist():
            after.writestr(name, changed.get(name, before.read(name)))
        for name in set(changed) - set(before.namelist()):
            after.writestr(name, changed[name])
    return out.getvalue()


def sheet(inner: str) -> bytes:
    return workbook({SHEET: f"{HEAD}{inner}</worksheet>".encode()})


def texts(inner: str, before: str = "") -> bytes:
    return workbook({TEXTS: TEXT_HEAD.replace("?>", f"?>{before}").encode() + inner.encode() + b"</sst>"})


def archive(*members: tuple[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in members:
            made.writestr(name, content)
    return out.getvalue()


def nested(levels: int) -> bytes:
    inner = archive(("0", bytes(MIB)))
    for level in range(levels):
        inner = archive(*((f"{level}-{each}.zip", inner) for each in range(10)))
    return archive(("xl/workbook.xml", b"<a/>"), ("xl/embeddings/book.xlsx", inner))


def overlapping(members: int) -> bytes:
    """One stored stretch of zeros, claimed by many members."""
    packed = zlib.compressobj(9, zlib.DEFLATED, -15)
    kernel = packed.compress(bytes(20 * MIB)) + packed.flush()
    crc = zlib.crc32(bytes(20 * MIB))
    head = (
        struct.pack("<4s5H3I2H", b"PK\x03\x04", 20, 0, 8, 0, 0, crc, len(kernel), 20 * MIB, 8, 0)
        + b"0000.xml"
    )
    entries = b"".join(
        struct.pack(
            "<4s6H3I5H2I", b"PK\x01\x02", 20, 20, 0, 8, 0, 0, crc, len(kernel), 1_000, 8, 0, 0, 0, 0, 0, 0
        )
        + f"{each:04}.xml".encode()
        for each in range(members)
    )
    body = head + kernel
    return (
        body
        + entries
        + struct.pack("<4s4H2IH", b"PK\x05\x06", 0, 0, members, members, len(entries), len(body), 0)
    )


def lying() -> bytes:
    """A part that says in the directory it is 10 bytes and is 30 MiB."""
    content = bytearray(workbook({SHEET: b"<a>" + b" " * (30 * MIB) + b"</a>"}))
    at = content.rfind(SHEET.encode()) - 46
    content[at + 24 : at + 28] = struct.pack("<I", 10)
    return bytes(content)


def expansions(levels: int, times: int) -> str:
    lines = ['<!ENTITY e0 "0123456789">']
    lines += [f'<!ENTITY e{n} "{f"&e{n - 1};" * times}">' for n in range(1, levels)]
    return f"<!DOCTYPE sst [{''.join(lines)}]>"


def quadratic() -> bytes:
    return texts(
        "<si><t>" + "&long;" * 50_000 + "</t></si>", f'<!DOCTYPE sst [<!ENTITY long "{"a" * 60_000}">]>'
    )


def rows(count: int, cells: str = "") -> str:
    return "<sheetData>" + f"<row>{cells}</row>" * count + "</sheetData>"


STYLES = f'<styleSheet xmlns="{MAIN}"><cellXfs>{"<xf/>" * 300_000}</cellXfs></styleSheet>'
WIDE = '<c r="XFD1"><v>1</v></c>'
OUTSIDE = '<!DOCTYPE sst [<!ENTITY x SYSTEM "file:///etc/passwd">]>'

BOMBS: Mapping[str, Callable[[], bytes]] = {
    "300 MiB of zeros": lambda: archive((SHEET, bytes(300 * MIB))),
    "a size that lies": lying,
    "members that lie over each other": lambda: overlapping(1_500),
    "archives within archives": lambda: nested(3),
    "five thousand members": lambda: archive(*((str(each), b"") for each in range(5_000))),
    "entities of entities": lambda: texts("<si><t>&e9;</t></si>", expansions(10, 10)),
    "one long entity many times": quadratic,
    "an entity from outside": lambda: texts("<si><t>&x;</t></si>", OUTSIDE),
    "entities hidden in UTF-16": lambda: workbook(
        {TEXTS: f'<?xml version="1.0" encoding="UTF-16"?>{expansions(10, 10)}<sst>&e9;</sst>'.encode("utf-16")}
    ),
    "XML 200,000 deep": lambda: workbook({SHEET: b"<a>" * 200_000 + b"</a>" * 200_000}),
    "an attribute of 30 MiB": lambda: workbook({SHEET: b'<a b="' + b"x" * (30 * MIB) + b'"/>'}),
    "a comment that hardly ends": lambda: workbook({SHEET: b"<a><!--" + (b"<" + b"-x" * 50_000) * 300 + b"--></a>"}),
    "a cell of 30 MiB": lambda: sheet(f'<sheetData><row><c t="str"><v>{"x" * (30 * MIB)}</v></c></row></sheetData>'),
    "a billion rows told": lambda: sheet('<dimension ref="A1:XFD1000000000"/><sheetData/>'),
    "a row far down": lambda: sheet('<sheetData><row r="1048576"><c><v>1</v></c></row></sheetData>'),
    "cells far to the right": lambda: sheet(rows(50_000, WIDE)),
    "200,000 rows": lambda: sheet(rows(200_000)),
    "four million texts": lambda: texts("<si><t/></si>" * 4_000_000),
    "300,000 styles": lambda: workbook({"xl/styles.xml": STYLES.encode()}),
    "lines without end": lambda: b"base\n" * (2 * MIB),
    "columns without end": lambda: b"," * (10 * MIB),
    "a field of 10 MiB": lambda: b'base,name\nEast,"' + b"x" * (10 * MIB - 40) + b'"\n',
    "a quote never closed": lambda: b'base,name\nEast,"' + b"x\n" * 150_000,
    "more than 10 MiB": lambda: b"base\n" + b"x" * (11 * MIB),
    "a compressed text": lambda: b"\x1f\x8b" + bytes(1_000),
}  # fmt: skip
