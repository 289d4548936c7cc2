"""What is pasted from a spreadsheet is read by its columns."""

import pytest

from api.pasted import read_pasted


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("AB 1\nCD 2", {"AB": {"landings": "1"}, "CD": {"landings": "2"}}),
        ("AB;1;2;3", {"AB": {"landings": "1", "touch_and_gos": "2", "rejected_takeoffs": "3"}}),
        ("reg\ttouch and gos\tlandings\nAB\t2\t1", {"AB": {"touch_and_gos": "2", "landings": "1"}}),
        ("AB\t\t2", {"AB": {"touch_and_gos": "2"}}),
        ("\n\n", {}),
        ("AB", {"AB": {}}),
    ],
)
def test_pasted_lines_are_read(text, lines):
    assert read_pasted(text, ["AB", "CD"]).lines == lines


@pytest.mark.parametrize(
    ("text", "unread"),
    [
        ("Registration\tLandings\nAB\t0\t1", ("number 3",)),
        ("Registration\tLandings\tHours\nAB\t4\t6\nCD\t2", ("Hours",)),
        ("Registration\tLandings\tHours\nAB\t4\t", ()),
        ("AB 4 1 1", ()),
    ],
)
def test_a_pasted_column_that_the_sheet_does_not_have_is_told(text, unread):
    assert read_pasted(text, ["AB", "CD"]).unread == unread
