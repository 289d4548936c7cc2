"""RFC 8785 (JSON Canonicalization Scheme, 2020), against the reference library `rfc8785` of Trail of Bits."""

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from db.canonical import LARGEST, canonical
from db.errors import LedgerError

text = st.text(st.characters(codec="utf-8"))
plain = st.none() | st.booleans() | st.integers(-LARGEST, LARGEST) | text
json_values = st.recursive(plain, lambda inner: st.lists(inner) | st.dictionaries(text, inner), max_leaves=30)


@given(json_values)
def test_bytes_equal_the_reference_library(value):
    assert canonical(value) == rfc8785.dumps(value)


def test_keys_sort_by_utf16_code_units_as_in_section_3_2_3():
    # The RFC's own example: the last two keys sort the other way round by code point.
    keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    wanted = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]
    found = canonical(dict.fromkeys(keys, 0)).decode()
    assert sorted(keys, key=lambda key: found.index(f'"{key}"' if key != "\r" else '"\\r"')) == wanted


@pytest.mark.parametrize("value", [0.5, LARGEST + 1, -LARGEST - 1, "\ud800", {1: "a"}, (1,), [[2**60]]])
def test_what_has_no_exact_bytes_is_refused(value):
    with pytest.raises(LedgerError):
        canonical(value)
