"""The invented fleet, generated once a run."""

import pandas as pd
import pytest

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
