"""
The archive that a workbook is, looked through before any library opens it: sizes, overlaps, nesting, then its XML.

Traps as known from public write-ups: overlapping members (D. Fifield, "A better zip bomb", WOOT 2019), members that
are archives again, sizes that lie; from memory.
"""

import io
import struct
import zipfile
import zlib
from itertools import pairwise
from typing import Final

from db.uploads.limits import (
    BY_COMMAND,
    LONGEST_DIRECTORY,
    MIB,
    MOST_MARKS,
    MOST_MARKS_BESIDE,
    MOST_MEMBERS,
    MOST_SHEETS,
    MOST_UNPACKED,
)
from db.uploads.markup import Markup
from db.uploads.refusal import UploadRefusedError

AS_XLSX: Final = "save it as xlsx again, or each sheet as CSV"
END: Final = b"PK\x05\x06"
END_64: Final = b"PK\x06\x07"
LONGEST_END: Final = 22 + 65_535
LOCAL_HEADER: Final = 30
ENCRYPTED: Final = 0x1
CHUNK: Final = 1 << 16
XML: Final = (".xml", ".rels", ".vml")
ROWS_IN: Final = "xl/worksheets/"
TEXTS_IN: Final = "xl/sharedStrings.xml"
ARCHIVES: Final = (
    b"PK\x03\x04",
    b"\x1f\x8b",
    b"7z\xbc\xaf",
    b"BZh",
    b"\xfd7zXZ",
    b"Rar!",
    b"\xd0\xcf\x11\xe0",
)


def check_archive(content: bytes) -> bool:
    """Refuse an archive that is no plain workbook of our size; say whether its sheets have formulas."""
    _check_directory(content)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
            _check_members(members, content.rfind(END))
            return _check_contents(archive, members)
    except (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, struct.error, ValueError) as error:
        raise UploadRefusedError(f"cannot be read as a workbook ({error})"[:200], AS_XLSX) from error


def _check_directory(content: bytes) -> None:
    """Refuse a directory that is too long to read, before it is read."""
    at = content.rfind(END, max(0, len(content) - LONGEST_END))
    if at < 0 or len(content) < at + 22:
        raise UploadRefusedError("cannot be read as a workbook (it has no end, or was cut)", AS_XLSX)
    count, length = struct.unpack("<HI", content[at + 10 : at + 16])
    if content[max(0, at - 20) :].startswith(END_64) or count > MOST_MEMBERS or length > LONGEST_DIRECTORY:
        raise UploadRefusedError(
            f"is an archive of more than {MOST_MEMBERS} parts, or larger than 4 GB", AS_XLSX
        )


def _check_members(members: list[zipfile.ZipInfo], end: int) -> None:
    if len(members) > MOST_MEMBERS:
        raise UploadRefusedError(f"has {len(members)} parts; at most {MOST_MEMBERS} are read", AS_XLSX)
    if len({member.filename for member in members}) < len(members):
        raise UploadRefusedError("has two parts of one name", AS_XLSX)
    if any(member.flag_bits & ENCRYPTED for member in members):
        raise UploadRefusedError("is protected by a password", "save it without one")
    unpacked = sum(member.file_size for member in members)
    if unpacked > MOST_UNPACKED:
        rule = f"unpacks to {unpacked // MIB} MiB; at most {MOST_UNPACKED // MIB} MiB are read"
        raise UploadRefusedError(rule, BY_COMMAND)
    placed = sorted(members, key=lambda member: member.header_offset)
    starts = [*(member.header_offset for member in placed), end]
    for member, (start, following) in zip(placed, pairwise(starts), strict=True):
        if start + LOCAL_HEADER + len(member.filename) + member.compress_size > following:
            raise UploadRefusedError("has parts that lie over each other", AS_XLSX)
    sheets = sum(
        member.filename.startswith(ROWS_IN) and member.filename.endswith(".xml") for member in members
    )
    if sheets > MOST_SHEETS:
        raise UploadRefusedError(
            f"has {sheets} sheets; at most {MOST_SHEETS} are read", "take the others out"
        )


def _check_contents(archive: zipfile.ZipFile, members: list[zipfile.ZipInfo]) -> bool:
    marks, formulas, rows = 0, False, 0
    for member in members:
        is_xml = member.filename.lower().endswith(XML)
        marks += _check_bytes(archive, member, is_xml=is_xml, room=MOST_MARKS - marks)
        if is_xml:
            found = Markup(room=rows)
            with archive.open(member) as part:
                found.read(iter(lambda: part.read(CHUNK), b""))
            formulas, rows = formulas or found.formulas, found.rows
    return formulas


def _check_bytes(archive: zipfile.ZipFile, member: zipfile.ZipInfo, *, is_xml: bool, room: int) -> int:
    """Return how many marks a part has; an archive within the archive, or more marks than there is room, is refused."""
    beside = member.filename != TEXTS_IN and not member.filename.startswith(ROWS_IN)
    most = min(room, MOST_MARKS_BESIDE) if beside else room
    marks, first = 0, True
    with archive.open(member) as part:
        while chunk := part.read(CHUNK):
            if first and chunk.startswith(ARCHIVES):
                raise UploadRefusedError(f"has an archive within it ({member.filename[:60]})", AS_XLSX)
            first = False
            marks += chunk.count(b"<") if is_xml else 0
            if marks > most:
                raise UploadRefusedError(f"has too many elements in {member.filename[:60]}", BY_COMMAND)
    return marks
