"""
The bytes of JSON as RFC 8785 wants them.

For everything but fractions: the log carries those as text, so that no formatter of floats is needed here.
"""

import json
from typing import Any, Final

from db.errors import LedgerError

# RFC 8785 takes numbers as IEEE 754 doubles; beyond this a whole number would not be exact (RFC 7493, section 2.2).
LARGEST: Final = 2**53 - 1


def canonical(value: Any) -> bytes:  # noqa: ANN401 - JSON: None, bool, int, str, list, and dict of them
    """Canonical UTF-8 bytes; keys in the order of their UTF-16 code units, no white space."""
    text = json.dumps(_ordered(value), ensure_ascii=False, separators=(",", ":"))
    try:
        return text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise LedgerError(
            f"{text[error.start]!r} is half a character (a lone surrogate); wanted whole characters"
        ) from None


def _ordered(value: Any) -> Any:  # noqa: ANN401 - the same
    kind = type(value)
    if kind is dict:
        return {key: _ordered(value[key]) for key in sorted(value, key=_utf16)}
    if kind is list:
        # One look at the kinds present: columns of texts, most of a load, need no step into each item.
        if set(map(type, value)) <= {str, bool, type(None)}:
            return value
        return [
            item if type(item) is int and -LARGEST <= item <= LARGEST else _ordered(item) for item in value
        ]
    if isinstance(value, int) and not -LARGEST <= value <= LARGEST:
        raise LedgerError(f"{value} is too large for the log; wanted at most {LARGEST}")
    if value is not None and not isinstance(value, str | int):
        raise LedgerError(
            f"{value!r} cannot stand in the log; wanted text, a whole number, true, false or none"
        )
    return value


def _utf16(key: str) -> bytes:
    if not isinstance(key, str):
        raise LedgerError(f"the key {key!r} cannot stand in the log; wanted text")
    return key.encode("utf-16-be", "surrogatepass")
