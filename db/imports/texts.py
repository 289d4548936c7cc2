"""Texts, names and words from cells; what a spreadsheet has eaten is refused, because nobody can bring it back."""

import difflib
import re
import unicodedata
from collections.abc import Collection
from typing import Final

from db.imports.refused import CellError

LONGEST_NAME: Final = 80
LONGEST_TEXT: Final = 2_000
KEPT_IN_TEXT: Final = dict.fromkeys(map(ord, "\t\n"))

EATEN: Final = re.compile(r"-?[0-9](\.[0-9]+)?[eE]\+[0-9]+")
MISSING: Final = ("nan", "nat", "null", "none", "n/a", "<na>")
CELL_ERRORS: Final = ("#n/a", "#ref!", "#value!", "#div/0!", "#name?", "#null!", "#num!")
SAID_OTHERWISE: Final = {"true": "yes", "false": "no", "y": "yes", "n": "no", "1": "yes", "0": "no"}


def parse_text(text: str) -> str:
    """Return free text: any writing, tabs and line breaks (as one kind) included."""
    _no_cell_error(text)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.isprintable():
        bad = next((c for c in text.translate(KEPT_IN_TEXT) if _no_writing(c)), None)
        if bad is not None:
            raise CellError(f"has a control character ({_named(bad)})", "take the character out")
    if len(text) > LONGEST_TEXT:
        raise CellError(f"has {len(text)} characters; at most {LONGEST_TEXT} are wanted", "shorten the text")
    return text


def parse_name(text: str) -> str:
    """Return a name: one line of visible characters, compared letter by letter."""
    _no_cell_error(text)
    if not text.isprintable():
        bad = next(character for character in text if not character.isprintable())
        raise CellError(f"has an invisible character ({_named(bad)})", "take the character out")
    if len(text) > LONGEST_NAME:
        raise CellError(f"has {len(text)} characters; a name has at most {LONGEST_NAME}", "shorten the name")
    if EATEN.fullmatch(text):
        raise CellError(
            "was turned into a number by a spreadsheet, digits are lost",
            "copy the name from its source again, into a column formatted as text",
        )
    if text.lower() in MISSING:
        raise CellError("stands for a missing value", "leave the cell empty, or write the name")
    return text


def parse_list(text: str) -> str:
    """Return names joined by semicolons."""
    if "," in text and ";" not in text:
        raise CellError(
            "has commas; names in a list are joined by semicolons", f"write {text.replace(',', ';')}"
        )
    parts = [part.strip(" ") for part in text.split(";")]
    if "" in parts:
        raise CellError("has an empty name in the list", "write names joined by semicolons, such as 1;2;3;4")
    return ";".join(parse_name(part) for part in parts)


def parse_word(text: str, words: Collection[str]) -> str:
    """Return one of the listed words."""
    if text not in words:
        raise CellError(f"is not one of the words {', '.join(words)}", _nearest_word(text, words))
    return text


def nearest(text: str, names: Collection[str]) -> str:
    """Return the name that looks most like the text."""
    tidy = re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")
    return difflib.get_close_matches(tidy, list(names), n=1, cutoff=0.0)[0]


def _nearest_word(text: str, words: Collection[str]) -> str:
    otherwise = SAID_OTHERWISE.get(text.lower())
    if otherwise in words:
        return f"write {otherwise}"
    near = difflib.get_close_matches(text.lower(), words, n=1, cutoff=0.6)
    return f"write {near[0]}" if near else f"write one of {', '.join(words)}"


def _no_cell_error(text: str) -> None:
    if text.startswith("#") and text.lower() in CELL_ERRORS:
        raise CellError("is a spreadsheet's error", "mend the formula, or leave the cell empty")


def _no_writing(character: str) -> bool:
    """Say whether a character can stand in no text: controls, half characters, and what XML has no place for."""
    return unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff"


def _named(character: str) -> str:
    return unicodedata.name(character, f"U+{ord(character):04X}")
