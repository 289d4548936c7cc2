"""Letters on paper: the printer's own fonts where they have them, else a font that travels in the sheet."""

import unicodedata
from functools import cache
from importlib.resources import files
from typing import Final

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

# Latin with its marks, Greek and Cyrillic; only the letters used are put into a sheet.
WIDE: Final = {"Helvetica": "Roboto-Regular", "Helvetica-Bold": "Roboto-Bold"}


def printable(words: str) -> str:
    """The same words in letters that one of the fonts has; of others the mark goes, or a question mark stands."""
    if is_plain(words):
        return words
    return "".join(each if is_plain(each) or ord(each) in _letters() else _bare(each) for each in words)


def font_of(words: str, font: str) -> str:
    """The font that words, printable already, are set in."""
    if is_plain(words):
        return font
    _letters()
    return WIDE[font]


def is_plain(words: str) -> bool:
    """Whether the fonts that every PDF reader has cover them (Windows-1252)."""
    try:
        words.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


@cache
def _letters() -> frozenset[int]:
    """The code points that the wide fonts have; read when a sheet first needs them."""
    found: list[set[int]] = []
    for name in WIDE.values():
        font = TTFont(name, str(files("font_roboto").joinpath("files", f"{name}.ttf")))
        pdfmetrics.registerFont(font)
        found.append(set(font.face.charToGlyph))
    return frozenset(set.intersection(*found))


def _bare(letter: str) -> str:
    return unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode() or "?"
