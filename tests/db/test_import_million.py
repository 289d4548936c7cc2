"""A million rows of landings go in, with progress, on both databases."""

import pytest
from sqlalchemy import func, select

from db.chain import Act
from db.imports import load
from db.records.readings import Landing
from tests.db.conftest import TODAY
from tests.db.million import AIRCRAFT, million_folder

ROWS = 1_000_000


@pytest.mark.long
def test_a_million_rows_of_landings_go_in_with_progress(session, tmp_path):
    folder = million_folder(tmp_path / "million", ROWS)
    steps = []
    act = Act("ann", "import", "import records")
    loaded = load(
        session,
        folder,
        act,
        approved=True,
        today=TODAY,
        progress=lambda done, total: steps.append((done, total)),
    )
    session.commit()
    assert {file.file: file.added for file in loaded.files}["landings"] == ROWS
    assert session.execute(select(func.count()).select_from(Landing)).scalar_one() == ROWS
    assert len(steps) > 100
    assert steps == sorted(steps)
    assert steps[-1] == (2 * (ROWS + AIRCRAFT + 2),) * 2
