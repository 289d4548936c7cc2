import re
from pathlib import Path

import pytest

HERE = Path(__file__).parent
TABLE = (
    (HERE.parent / "DEVELOPERS.md")
    .read_text(encoding="utf-8")
    .partition("## Cases and their tests")[2]
    .partition("\n## ")[0]
)
ROWS = [row.split("|")[1:-1] for row in TABLE.splitlines() if row.startswith("| ")][1:]


@pytest.mark.parametrize("row", ROWS, ids=[row[0].strip() for row in ROWS])
def test_every_case_has_the_tests_that_its_row_names(row):
    named = re.findall(r"`([^`]+\.py)` ([a-z_0-9, ]+)", row[1])
    assert named
    for file, names in named:
        text = (HERE / file).read_text(encoding="utf-8")
        for name in names.split(","):
            assert f"def test_{name.strip()}(" in text, f"{file} lacks {name.strip()}"
