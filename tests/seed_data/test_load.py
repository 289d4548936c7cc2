"""The demo is brought in as any other fleet is: through the import, nothing refused, what is odd flagged."""

import sys

import pytest
from sqlalchemy import func, select

from db.lookup import known_by
from db.observe import last_effective_day, observe_assumptions
from db.records.brakes import Installation, Occupancy
from db.records.readings import Landing, PinReading
from db.session import Session, open_engine, reading
from lifecycle.assumptions import ROUTE_UNITS, UNITS
from seed_data.load import load_demo


@pytest.fixture
def session(loaded_demo):
    engine = open_engine(loaded_demo.url)
    with Session(reading(engine)) as session:
        yield session
    engine.dispose()


def test_every_row_of_every_file_is_on_record(session, files):
    for model, name in ((Landing, "landings"), (PinReading, "pin_readings"), (Installation, "installations")):
        count = session.execute(select(func.count()).select_from(model)).scalar_one()
        assert count == len(files[name]), name


def test_what_was_loaded_is_told_in_one_line_with_the_seed(loaded_demo, scenario):
    line = str(loaded_demo.demo)
    assert "\n" not in line
    assert f"seed {scenario.seed}" in line
    assert "invented" in line


def test_few_readings_are_held_for_a_second_person(loaded_demo, files):
    assert 1 <= loaded_demo.demo.held <= 0.01 * len(files["pin_readings"])


def test_the_last_effective_day_is_that_of_the_scenario(session, scenario):
    assert last_effective_day(session, known_by(session)) == scenario.last_day


def test_every_assumption_counts_as_approved(session, scenario):
    found = observe_assumptions(session, on=scenario.last_day, known=known_by(session))
    assert {item.name for item in found.items} == set(UNITS) - set(ROUTE_UNITS)


def test_every_position_of_the_aircraft_still_owned_has_a_brake(session, files):
    fitted = session.execute(
        select(func.count()).select_from(Occupancy).where(Occupancy.to_on.is_(None))
    ).scalar_one()
    assert fitted == 25 * 4 + 14 * 8


@pytest.mark.long
def test_the_demo_is_loaded_in_a_moment(loaded_demo):
    sys.stdout.write(f"the demo is loaded in {loaded_demo.cpu_seconds:.1f} s of CPU\n")
    assert loaded_demo.cpu_seconds < 60


@pytest.mark.long
def test_the_demo_loads_into_postgresql_too(postgresql_url, loaded_demo):
    assert load_demo(postgresql_url) == loaded_demo.demo
