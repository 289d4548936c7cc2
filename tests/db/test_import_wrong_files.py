"""Every kind of wrong file: a clear error and an unchanged ledger, on both databases."""

import datetime as dt

import pytest
from sqlalchemy import func, literal, select, union_all

from db.base import Base
from db.chain import Act
from db.imports import ImportRefusedError, load
from db.records.log import ChainHead
from db.session import Session
from tests.db.wrong_files import RECORDS, WRONG

ACT = Act("ann", "import", "import records")

TODAY = dt.date(2026, 11, 25)  # as the words of the errors have it


COUNTS = union_all(
    *(select(literal(table.name), func.count()).select_from(table) for table in Base.metadata.sorted_tables)
)


def contents(engine):
    """Rows in each table, and where the chain stands."""
    with engine.connect() as connection:
        head = connection.execute(select(ChainHead.seq, ChainHead.record, ChainHead.hash)).one()
        return {*connection.execute(COUNTS).all(), head}


@pytest.fixture(scope="module")
def before(loaded):
    return contents(loaded)


@pytest.mark.parametrize("wrong", WRONG, ids=lambda wrong: wrong.what.replace(" ", "_"))
def test_a_wrong_file_gives_its_error_and_changes_nothing(wrong, loaded, before, tmp_path):
    (tmp_path / "wrong").mkdir()
    path = wrong.made(tmp_path / "wrong")
    good = path / "orders.csv"  # a row that could be kept, were it not for the wrong file
    if path.is_dir() and not good.exists() and wrong in RECORDS:
        good.write_text("base,brake_type,quantity,ordered_on\nWorks,PL-100,7,2024-06-01\n", encoding="utf-8")
    with Session(loaded) as session:
        with pytest.raises(ImportRefusedError) as caught:
            load(session, path, ACT, approved=True, today=TODAY)
        session.commit()  # the refused load left nothing to commit
    assert contents(loaded) == before
    errors = caught.value.errors
    found = [error for error in errors if (error.file, error.row, error.column) == wrong[2:5]]
    assert found, errors
    assert wrong.value == found[0].value
    assert wrong.rule in found[0].rule
    assert wrong.suggestion in found[0].suggestion
    assert f"{caught.value.total} error" in str(caught.value)
