"""The invented fleet, generated once a run."""

import pandas as pd
import pytest

from db.lookup import known_by
from db.observe import observe
from db.session import Session, open_engine, reading
from seed_data.generate import generate
from seed_data.scenario import read_scenario


@pytest.fixture(scope="session")
def scenario():
    return read_scenario()


@pytest.fixture(scope="session")
def made(scenario, tmp_path_factory):
    return generate(scenario, tmp_path_factory.mktemp("invented") / "records")


@pytest.fixture(scope="session")
def files(made):
    """Every file as written: texts, "" where empty."""
    return {
        path.stem: pd.read_csv(path, dtype=str, keep_default_na=False)
        for path in sorted(made.folder.iterdir())
    }


@pytest.fixture(scope="session")
def observed(scenario, loaded_demo):
    """Records of the demo through its last day, as known at its end."""
    engine = open_engine(loaded_demo.url)
    with Session(reading(engine)) as session:
        records = observe(session, on=scenario.last_day, known=known_by(session))
    engine.dispose()
    return records
