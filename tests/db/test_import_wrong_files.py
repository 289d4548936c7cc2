"""Every kind of wrong file: a clear error and an unchanged ledger, on both databases."""

import datetime as dt
import shutil

import psycopg
import pytest
from sqlalchemy import func, literal, select, union_all

from db.base import Base
from db.chain import Act
from db.imports import ImportRefusedError, load
from db.records.log import ChainHead
from db.session import Session, open_engine
from tests.db.good_folder import good_folder
from tests.db.wrong_files import WRONG

ACT = Act("ann", "import", "import records")
TODAY = dt.date(2026, 11, 25)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def loaded(request, tmp_path_factory):
    """A ledger that holds the good folder; no test here may change it."""
    folder = tmp_path_factory.mktemp("loaded")
    if request.param == "sqlite":
        shutil.copy(request.getfixturevalue("sqlite_template"), folder / "ledger.db")
        url = f"sqlite:///{folder / 'ledger.db'}"
    else:
        server = request.getfixturevalue("postgresql_template")
        with psycopg.connect(server.format("postgres"), autocommit=True) as connection:
            connection.execute("CREATE DATABASE ledger_loaded TEMPLATE template_ledger")
        url = server.format("ledger_loaded")
    engine = open_engine(url)
    with Session(engine) as session:
        load(session, good_folder(folder / "good"), ACT, approved=True, today=TODAY)
        session.commit()
    yield engine, contents(engine)
    engine.dispose()


COUNTS = union_all(
    *(select(literal(table.name), func.count()).select_from(table) for table in Base.metadata.sorted_tables)
)


def contents(engine):
    """Rows in each table, and where the chain stands."""
    with engine.connect() as connection:
        head = connection.execute(select(ChainHead.seq, ChainHead.record, ChainHead.hash)).one()
        return {*connection.execute(COUNTS).all(), head}


@pytest.mark.parametrize("wrong", WRONG, ids=lambda wrong: wrong.what.replace(" ", "_"))
def test_a_wrong_file_gives_its_error_and_changes_nothing(wrong, loaded, tmp_path):
    (tmp_path / "wrong").mkdir()
    path = wrong.made(tmp_path / "wrong")
    good = path / "orders.csv"  # a row that could be kept, were it not for the wrong file
    if path.is_dir() and not good.exists():
        good.write_text("base,brake_type,quantity,ordered_on\nWorks,PL-100,7,2024-06-01\n", encoding="utf-8")
    engine, before = loaded
    with Session(engine) as session:
        with pytest.raises(ImportRefusedError) as caught:
            load(session, path, ACT, approved=True, today=TODAY)
        session.commit()  # the refused load left nothing to commit
    assert contents(engine) == before
    errors = caught.value.errors
    found = [error for error in errors if (error.file, error.row, error.column) == wrong[2:5]]
    assert found, errors
    assert wrong.value == found[0].value
    assert wrong.rule in found[0].rule
    assert wrong.suggestion in found[0].suggestion
    assert f"{caught.value.total} error" in str(caught.value)
