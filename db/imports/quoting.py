"""
Text that a spreadsheet would run as a formula, made harmless and made whole again.

An apostrophe before it makes it plain text; the import takes that one apostrophe off, so every text comes back equal.
Characters as OWASP, "CSV Injection" (2024) lists them, the wide forms included.
"""

import re
from typing import Final

RISKY: Final = re.compile(r"'*[=+\-@\uff1d\uff0b\uff0d\uff20\x00-\x1f\x7f]")
QUOTED: Final = re.compile(r"'+[=+\-@\uff1d\uff0b\uff0d\uff20\x00-\x1f\x7f]")


# In a workbook _x000D_ stands for a character; a text that has just that is written otherwise (ECMA-376 part 1,
# 22.9.2.19). The library leaves both to its callers.
LOOKS_ESCAPED: Final = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
ESCAPED: Final = re.compile("_x([0-9A-Fa-f]{4})_")


def quoted(text: str) -> str:
    """Return the text as it may stand in a cell."""
    return f"'{text}" if RISKY.match(text) else text


def unquoted(text: str) -> str:
    """Return the text that `quoted` was given."""
    return text[1:] if text.startswith("'") and QUOTED.match(text) else text


def to_sheet(text: str) -> str:
    """Return the text as a workbook keeps it."""
    return LOOKS_ESCAPED.sub("_x005F_", text)


def from_sheet(text: str) -> str:
    """Return the text that a workbook keeps."""
    return ESCAPED.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text
