"""Ledgers that hold the whole good folder, loaded once a run, for tests that leave them as they are."""

import datetime as dt

import pytest

from db.chain import Act
from db.imports import load
from db.session import Session, open_engine
from tests.db.good_folder import good_folder

TODAY = dt.datetime.now(dt.UTC).date()


@pytest.fixture(params=["sqlite", "postgresql"], scope="session")
def loaded(request, tmp_path_factory):
    """An engine on a ledger with the good folder in it; whatever a test does there, it does not commit."""
    folder = good_folder(tmp_path_factory.mktemp("loaded") / "good")
    with request.getfixturevalue(f"{request.param}_copies")("loaded") as url:
        engine = open_engine(url)
        with Session(engine) as session:
            load(session, folder, Act("ann", "import", "import records"), approved=True, today=TODAY)
            session.commit()
        yield engine
        engine.dispose()


@pytest.fixture
def ledger(loaded):
    """A session on that ledger; what the test does is rolled back."""
    with Session(loaded) as session:
        yield session
