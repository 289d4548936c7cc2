"""The table of OWASP ASVS 5.0.0 is whole: no blank, and every row shown by a test names tests that are there."""

import re
from collections import Counter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TABLE = (ROOT / ".ci" / "asvs.md").read_text()
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in TABLE.splitlines()
    if re.match(r"\| \d", line)
]
# A file and words that stand in it.
QUOTED = re.compile(r'([\w./-]+\.[a-z]+) "([^|]+?)"(?=, [\w./-]+\.[a-z]+ "|$)')
WAYS = ("test", "document", "waiver")
# A file of tests, and the tests of it that are named; `::one, ::two` are both of the file named last.
NAMED = re.compile(r"((?:tests/\w+/)?(?:test_\w+\*?\.py))|::(test_\w+)")


def test_every_row_is_whole():
    assert len({row[0] for row in ROWS}) == len(ROWS) == 253
    assert [row for row in ROWS if len(row) != 5 or not all(row) or row[3] not in WAYS] == []


def test_the_rows_are_counted():
    found = Counter(row[3] for row in ROWS)
    told = f"253 rows: {found['test']} by test, {found['document']} by document, {found['waiver']} waived"
    assert told in TABLE


@pytest.mark.parametrize("row", [row for row in ROWS if row[3] == "test"], ids=lambda row: row[0])
def test_a_row_shown_by_a_test_names_one_that_is_there(row):
    files = []
    for file, name in NAMED.findall(row[4]):
        if file:
            files = sorted(ROOT.glob(file if "/" in file else f"tests/api/{file}"))
            assert files, file
        else:
            assert any(f"def {name}(" in each.read_text() for each in files), name
    assert files, "no test is named"


@pytest.mark.parametrize("row", [row for row in ROWS if row[3] == "document"], ids=lambda row: row[0])
def test_a_row_shown_by_a_document_quotes_what_stands_in_it(row):
    quoted = QUOTED.findall(row[4])
    assert quoted, "nothing is quoted"
    for file, phrase in quoted:
        assert " ".join(phrase.split()) in " ".join((ROOT / file).read_text().split()), (file, phrase)
