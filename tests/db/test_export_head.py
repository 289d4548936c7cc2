"""An export carries the head of the log that it was made from, where import passes over it."""

import pytest
from openpyxl import load_workbook

from db.anchor_forms import anchors_of
from db.awaited import Awaited
from db.errors import RowError
from db.export import export
from db.imports import load
from db.imports.folder import open_unnamed
from db.imports.written import PLAIN
from db.lookup import known_by
from db.session import Session, open_engine
from db.studies import hash_at
from db.verify import verify, verify_against
from tests.db.conftest import TODAY
from tests.ledger import ACT


@pytest.mark.parametrize(
    ("loaded", "name"), [("postgresql", "out"), ("sqlite", "out.xlsx")], indirect=["loaded"]
)
def test_the_head_is_printed_and_the_export_still_imports(ledger, sqlite_url, name, tmp_path):
    known = known_by(ledger)
    export(ledger, tmp_path / name, known=known)
    if name == "out":
        told = (tmp_path / name / "README.txt").read_text().splitlines()
    else:
        told = [row[0] for row in load_workbook(tmp_path / name)["README"].values]
    assert told[-1] == f"Head of the log: {hash_at(ledger, known.seq)}"
    assert f"Changes in the log: {known.seq}" in told
    assert f"Facts in the log: {verify(ledger).facts}" in told
    if name == "out":
        awaited = Awaited(anchors_of(str(tmp_path / name / "README.txt")))
        verify_against(ledger, awaited)
        assert (awaited.count, awaited.latest) == (1, known.seq)
    engine = open_engine(sqlite_url)
    assert not any(isinstance(each, RowError) for each in open_unnamed(tmp_path / name, PLAIN))
    assert "README" not in {each.name for each in open_unnamed(tmp_path / name, PLAIN)}
    with Session(engine) as session:
        assert load(session, tmp_path / name, ACT, approved=True, today=TODAY).files
    engine.dispose()
