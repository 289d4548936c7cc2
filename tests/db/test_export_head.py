"""An export carries the head of the log and the rows and digests of its files; import passes over it, or refuses."""

import hashlib
import subprocess

import pytest
from openpyxl import load_workbook

from db.anchor_forms import anchors_of
from db.awaited import Awaited
from db.errors import RowError, RowsRefusedError
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

ON_SQLITE = pytest.mark.parametrize("loaded", ["sqlite"], indirect=True)


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
    assert f"Head of the log: {hash_at(ledger, known.seq)}" in told
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


@pytest.fixture
def out(ledger, tmp_path):
    """An export as a folder."""
    export(ledger, tmp_path / "out", known=known_by(ledger))
    return tmp_path / "out"


@ON_SQLITE
def test_every_file_stands_in_the_list_with_its_rows_and_the_digest_that_others_work_out(out):
    checked = subprocess.run(
        ["sha256sum", "-c", "--strict", "SHA256SUMS"], cwd=out, capture_output=True, text=True, check=False
    )
    assert checked.returncode == 0, checked.stdout + checked.stderr
    files = {each.name for each in out.iterdir()} - {"SHA256SUMS"}
    assert {line.partition(":")[0] for line in checked.stdout.splitlines()} == files
    readme, landings = (out / "README.txt").read_text(), (out / "landings.csv").read_bytes()
    told = f"{landings.count(bytes([10])) - 1} rows, SHA-256 {hashlib.sha256(landings).hexdigest()}"
    assert f"landings.csv: {told}" in readme.splitlines()


@ON_SQLITE
def test_a_folder_that_is_not_as_it_was_exported_is_refused_until_its_list_is_deleted(out, sqlite_url):
    cut = (out / "landings.csv").read_bytes().splitlines(keepends=True)
    (out / "landings.csv").write_bytes(b"".join(cut[:-1]))
    (out / "orders.csv").unlink()
    engine = open_engine(sqlite_url)
    with Session(engine) as session:
        with pytest.raises(RowsRefusedError) as refused:
            load(session, out, ACT, approved=True, today=TODAY)
        told = [error.told() for error in refused.value.errors]
        assert f", {len(cut) - 2} rows; SHA256SUMS says " in told[0]
        assert (
            f", {len(cut) - 1} rows; export once more; if the files were changed on purpose, delete"
            in told[0]
        )
        assert told[1].startswith("orders.csv")
        assert "is missing; SHA256SUMS lists it, " in told[1]
        assert len(told) == 2
        assert [each.told() for each in open_unnamed(out, PLAIN) if isinstance(each, RowError)] == told
        (out / "SHA256SUMS").unlink()
        assert load(session, out, ACT, approved=True, today=TODAY).files
    engine.dispose()
