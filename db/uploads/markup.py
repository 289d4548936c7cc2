"""XML of a workbook read once for its shape alone: no declarations, nothing deep, long or wide, no row too far down."""

import re
from collections.abc import Iterable
from typing import Final
from xml.parsers import expat

from db.uploads.limits import BY_COMMAND, DEEPEST, LONGEST_CELL, LONGEST_PIECE, MOST_COLUMNS, MOST_ROWS
from db.uploads.refusal import UploadRefusedError

PLAIN_XML: Final = "save it as xlsx again, or each sheet as CSV"
PLACE: Final = re.compile("([A-Z]{1,3})([0-9]{1,10})")
HEADER: Final = 1


class Markup:
    """One part, fed in chunks; `room` is how many rows were met before it, `rows` how many are met after it."""

    def __init__(self, *, room: int) -> None:
        self.rows = room
        self.formulas = False
        self._depth = 0
        self._text = 0
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.buffer_text = True
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._characters
        self._parser.StartDoctypeDeclHandler = self._declared
        self._parser.EntityDeclHandler = self._declared

    def read(self, chunks: Iterable[bytes]) -> None:
        """Read the part to its end."""
        fed = 0
        try:
            for chunk in chunks:
                self._parser.Parse(chunk, False)
                fed += len(chunk)
                # What the parser cannot finish it reads again with each chunk.
                if fed - self._parser.CurrentByteIndex > LONGEST_PIECE:
                    raise UploadRefusedError("has a piece of XML that does not end", PLAIN_XML)
            self._parser.Parse(b"", True)
        except expat.ExpatError as error:
            raise UploadRefusedError(f"cannot be read as a workbook (XML: {error})", PLAIN_XML) from error

    def _start(self, name: str, given: dict[str, str]) -> None:
        self._depth += 1
        self._text = 0
        if self._depth > DEEPEST:
            raise UploadRefusedError(f"has XML more than {DEEPEST} deep", PLAIN_XML)
        local = name.rpartition(" ")[2]
        if local == "c":
            self._cell(given.get("r", ""))
        elif local == "row":
            self._row(given.get("r", ""))
        elif local == "f":
            self.formulas = True
        elif local == "dimension":
            self._size(given.get("ref", ""))
        elif len(given) > MOST_COLUMNS:
            raise UploadRefusedError("has an element with too many attributes", PLAIN_XML)

    def _end(self, _name: str) -> None:
        self._depth -= 1
        self._text = 0

    def _characters(self, text: str) -> None:
        self._text += len(text)
        if self._text > LONGEST_CELL:
            raise UploadRefusedError(f"has a cell of more than {LONGEST_CELL} characters", "shorten the text")

    def _declared(self, *_: object) -> None:
        raise UploadRefusedError(
            "declares its own XML (DOCTYPE or entities), which no workbook does", PLAIN_XML
        )

    def _row(self, number: str) -> None:
        self.rows += 1
        if self.rows > MOST_ROWS + HEADER or (number and not 1 <= _whole(number) <= MOST_ROWS + HEADER):
            raise UploadRefusedError(f"has more than {MOST_ROWS} rows, or a row further down", BY_COMMAND)

    @staticmethod
    def _cell(place: str) -> None:
        if not place:
            return
        found = PLACE.fullmatch(place)
        if found is None or _column(found[1]) > MOST_COLUMNS:
            raise UploadRefusedError(
                f"has a cell at {place[:20]}; {MOST_COLUMNS} columns are read", BY_COMMAND
            )

    @staticmethod
    def _size(told: str) -> None:
        """What a sheet says of its size is often wrong, and passed over; more than a sheet can have is a trap."""
        for place in told.split(":"):
            found = PLACE.fullmatch(place)
            if found and (_column(found[1]) > 16_384 or int(found[2]) > 1_048_576):
                raise UploadRefusedError(f"says that it goes to {place[:20]}, beyond any sheet", PLAIN_XML)


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= 10 else -1


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number
