"""How a file is written, as the person who brings it in says; nothing of it is guessed."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from db.imports.refused import CellError

# Names as the web has them (IANA character sets), and the codec for each; a mark at the start of UTF-8 is passed over.
ENCODINGS: Final[Mapping[str, str]] = {
    "utf-8": "utf-8-sig",
    "utf-16": "utf-16",
    "windows-1250": "cp1250",
    "windows-1251": "cp1251",
    "windows-1252": "cp1252",
    "windows-1253": "cp1253",
    "windows-1254": "cp1254",
    "iso-8859-1": "latin-1",
    "iso-8859-15": "iso8859-15",
    "shift_jis": "shift_jis",
    "gb18030": "gb18030",
}
SEPARATORS: Final[Mapping[str, str]] = {"comma": ",", "semicolon": ";", "tab": "\t", "stroke": "|"}
DECIMALS: Final = ("point", "comma")
DECIMAL: Final = re.compile(r"([0-9])\.([0-9])")
YEAR_FIRST: Final = "year-month-day"
DAY_ORDERS: Final = (YEAR_FIRST, "day-month-year", "month-day-year")


@dataclass(frozen=True)
class Written:
    """Encoding, separator of fields, decimal sign and order of a day's parts, in the words of the lists above."""

    encoding: str = "utf-8"
    separator: str = "comma"
    decimal: str = "point"
    days: str = YEAR_FIRST

    @property
    def codec(self) -> str:
        """What decodes it."""
        return ENCODINGS[self.encoding]

    @property
    def mark(self) -> str:
        """What parts its fields."""
        return SEPARATORS[self.separator]

    def with_point(self, text: str) -> str:
        """Return a number of this file with a point; one that is written the other way is refused."""
        if self.decimal == "point":
            return text
        if "." in text:
            rule = "has a point; the numbers of this file were said to have a comma"
            raise CellError(rule, "write the number with a comma and no other marks, or choose the point")
        if text.count(",") > 1:
            raise CellError("has more than one comma", "look at the paper; write the decimal that was read")
        return text.replace(",", ".")

    def number(self, text: str) -> str:
        """Return a plain number as this file would write it: cells of a workbook hold values, not writing."""
        return text.replace(".", ",") if self.decimal == "comma" else text

    def advice(self, text: str) -> str:
        """Return what to write instead, as this file would have it."""
        if self.decimal == "point":
            return text
        return DECIMAL.sub(r"\1,\2", text).replace("with a point", "with a comma")

    def day(self, day: dt.date) -> str:
        """Return a day as this file would write it."""
        parts = {"year": f"{day.year:04d}", "month": f"{day.month:02d}", "day": f"{day.day:02d}"}
        return "-".join(parts[name] for name in self.days.split("-"))


PLAIN: Final = Written()


def written_from(words: Mapping[str, str]) -> Written:
    """Return how a file is written, in words chosen from the lists; a word left out is the plain one."""
    allowed = {"encoding": ENCODINGS, "separator": SEPARATORS, "decimal": DECIMALS, "days": DAY_ORDERS}
    for name, known in allowed.items():
        if (found := words.get(name, "")) and found not in known:
            raise CellError(f"{name} {found!r} is not known", f"choose one of {', '.join(known)}")
    return Written(**{name: words[name] for name in allowed if words.get(name)})
