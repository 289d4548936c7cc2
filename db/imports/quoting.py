"""
Text that a spreadsheet would run as a formula, made harmless and made whole again.

An apostrophe before it makes it plain text; the import takes that one apostrophe off, so every text comes back equal.
Characters as OWASP, "CSV Injection" (2024) lists them, the wide forms included.
"""

import re
from typing import Final

RISKY: Final = re.compile(r"'*[=+\-@\uff1d\uff0b\uff0d\uff20\x00-\x1f\x7f]")
QUOTED: Final = re.compile(r"'+[=+\-@\uff1d\uff0b\uff0d\uff20\x00-\x1f\x7f]")


def quoted(text: str) -> str:
    """Return the text as it may stand in a cell."""
    return f"'{text}" if RISKY.match(text) else text


def unquoted(text: str) -> str:
    """Return the text that `quoted` was given."""
    return text[1:] if text.startswith("'") and QUOTED.match(text) else text
