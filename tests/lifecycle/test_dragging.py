"""Brakes that have left their own past, listed with what speaks for it."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from lifecycle.assumptions import AssumptionSet
from lifecycle.errors import UnknownBaseError
from lifecycle.story import brake_story
from lifecycle.study import dragging, open_study
from tests import builders as b

ON = dt.date(2026, 6, 30)
FIRST = dt.date(2025, 7, 1)
BREAK = 240  # days from the first: the last ninth wear otherwise


def wear_of(serial, day, rng):
    """Invented: 0.02 mm a landing, four a day; brake 1 drags, brake 2 hardly brakes for the last four months."""
    own = 0.08 * (1 + 0.01 * serial)
    late = max(day - BREAK, 0)
    factor = {1: 1.7, 2: 0.3}.get(serial, 1.0)
    return own * (day - late) + own * factor * late + rng.normal(0, 0.05)


@pytest.fixture(scope="module")
def study():
    rng = np.random.default_rng(3)
    rows = [b.base("Home"), b.base("Away"), b.limit(5)]
    for craft in range(1, 7):
        rows += [b.aircraft(craft, base="Home" if craft < 4 else "Away"), *b.daily(craft, f"{FIRST}", 365, 4)]
        for position in range(1, 5):
            serial = 4 * (craft - 1) + position
            rows.append(b.installation(serial, f"{FIRST}", aircraft=craft, position=str(position)))
            rows += [
                b.reading(
                    serial, f"{FIRST + dt.timedelta(days=day)}", f"{50 - wear_of(serial, day, rng):.2f}"
                )
                for day in range(20, 365, 20)
            ]
    records = b.records(*rows)
    return open_study(records, AssumptionSet(()), on=ON, known_on=ON, seed=1)


def test_the_dragging_brake_comes_first_and_the_slow_one_is_told_apart(study):
    found = dragging(study)
    sides = {each.serial: each.side for each in found}
    assert (sides["S1"], sides["S2"]) == ("faster", "slower")
    assert found[0].serial == "S1"
    assert len(found) <= 4


def test_it_says_since_when_and_by_what_readings(study):
    drag = dragging(study)[0]
    readings = study.records.pin_readings
    own = readings[readings["brake"] == 1].set_index("record")["day"]
    assert [own[record] for record in drag.records] == sorted(own[own > pd.Timestamp(drag.since_on)])
    assert drag.readings == len(drag.records) >= 4
    assert abs((drag.since_on - FIRST).days - BREAK) <= 40
    assert drag.rate_mm_per_landing == pytest.approx(1.7 * 0.0202, rel=0.12)
    assert drag.rate_mm_per_landing > drag.usual_mm_per_landing
    assert drag.cusum > 4


def test_a_base_has_its_own_list_and_an_unknown_one_is_refused(study):
    assert {each.base for each in dragging(study, "Home")} == {"Home"}
    assert "S1" not in {each.serial for each in dragging(study, "Away")}
    with pytest.raises(UnknownBaseError, match="Hone"):
        dragging(study, "Hone")


def test_the_list_holds_all_that_the_warnings_name(study):
    fitted = study.runs.runs["fitted"]
    said = study.fit.posterior.loc[fitted, "warnings"].map(
        lambda all_: any("its own past" in one for one in all_)
    )
    assert {each.serial for each in dragging(study)} >= set(study.runs.runs.loc[fitted, "serial"][said])


def test_the_brakes_own_record_says_the_same(study):
    told = {each.serial: each for each in dragging(study)}
    for brake in (1, 2, 24):
        assert brake_story(study, brake).dragging == told.get(f"S{brake}")


def test_one_slip_alone_is_no_drag(study):
    """The last reading of a steady brake far too short: the fit keeps it out, and one reading may add only so much."""
    slipped = replace(study.records, pin_readings=study.records.pin_readings.copy())
    last = slipped.pin_readings.index[slipped.pin_readings["brake"] == 5][-1]
    slipped.pin_readings.loc[last, "pin_nm"] -= 8_000_000
    again = open_study(slipped, AssumptionSet(()), on=ON, known_on=ON, seed=1)
    assert "S5" not in {each.serial for each in dragging(again)}
