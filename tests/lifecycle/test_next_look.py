"""The latest day for the next reading: the chance it promises holds, and it moves as it should."""

import datetime as dt
import functools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.exposure import measure_runs
from lifecycle.flying import Flying, learn_flying
from lifecycle.installed import Installed, installed_brakes, law_of
from lifecycle.next_look import LONGEST_DAYS, NAME, START_VALUE, latest_looks, level_for
from lifecycle.wear import fit_fleet
from tests import builders as b
from tests.lifecycle.wear_fleet import Brake, paths, runs_of

ON = dt.date(2026, 6, 30)
BRAKES, READINGS = 12_000, 6
RATE, RATE_SD, PATH_SD, GAUGE_SD = 0.03, 0.0036, 0.05, 0.2


@functools.cache
def flying() -> Flying:
    """One aircraft that makes four landings a day, one that is stored."""
    stored = [b.aircraft(1), b.aircraft(2), b.change(2, "2026-01-10", status="stored")]
    log = [*b.daily(1, "2025-01-01", 546, 4), *b.daily(2, "2025-01-01", 370, 4)]
    return learn_flying(b.records(*stored, *log), ON)


def installed_of(runs, posterior, *, flown=0.0, limit_wear_mm=40.0, due=False, aircraft=1, copied=False):
    """Brakes on an aircraft, `flown` landings after their last reading."""
    frame = runs.runs.assign(
        aircraft=aircraft,
        registration="ZZ-001",
        position="1",
        flown=flown,
        limit_wear_mm=limit_wear_mm,
        due=due,
        copied=copied,
        pin_mm=np.nan,
        read_on=pd.Series(pd.NaT, index=runs.runs.index, dtype="datetime64[s]"),
        kind="estimated",
    )
    return Installed(frame, law_of(frame, posterior))


@functools.cache
def many():
    """Invented fleet of 12,000 brakes, each read six times, with the true wear at its last reading and true rate."""
    rng = np.random.default_rng(17)
    own = rng.normal(RATE, RATE_SD, BRAKES)
    x, wear = paths(rng, BRAKES, READINGS, rate=own, rate_sd=0.0, path_sd=PATH_SD, measurement_sd=0.0)
    # Older brakes: all shifted along their own line, so that the next months decide about many of them.
    read = wear + rng.normal(0.0, GAUGE_SD, x.shape)
    runs = runs_of([Brake(tuple(a), tuple(c)) for a, c in zip(x, read, strict=True)])
    return runs, fit_fleet(runs).posterior, wear[:, -1], own


@pytest.mark.parametrize("level", [0.02, 0.1])
def test_the_chance_to_pass_unread_is_the_level_over_ten_thousand_brakes(level):
    """Truth invented: limit 3 to 12 mm after the last reading, 0 to 40 landings since; seed 18."""
    runs, posterior, wear, rate = many()
    rng = np.random.default_rng(18)
    flown = rng.uniform(0, 40, BRAKES)
    brakes = installed_of(runs, posterior, flown=flown, limit_wear_mm=wear + rng.uniform(3, 12, BRAKES))
    looks = {each.serial: each for each in latest_looks(brakes, flying(), ON, level)}
    found = [looks[serial] for serial in brakes.frame["serial"]]
    days = np.array([(each.latest_on - ON).days for each in found])
    expected = flying().expected_landings(np.ones(BRAKES, dtype=np.int64), days)
    error = np.sqrt(flying().cv_u ** 2 + flying().phi / np.maximum(expected, 1))
    until = flown + expected * np.exp(error * rng.standard_normal(BRAKES))
    left = brakes.frame["limit_wear_mm"].to_numpy() - wear
    passed_at = rng.wald(left / rate, left**2 / PATH_SD**2)
    asked = np.array([each.why == "wear" for each in found])
    assert asked.sum() > 10_000
    share = np.mean(passed_at[asked] <= until[asked])
    assert share <= level + 4 * np.sqrt(level / asked.sum())
    assert share >= 0.75 * level  # whole days are counted down, and the readings are not wasted


def test_a_brake_past_the_level_already_is_looked_at_now():
    runs, posterior, wear, _ = many()
    brakes = installed_of(runs, posterior, flown=300.0, limit_wear_mm=wear + 5.0)
    looks = latest_looks(brakes, flying(), ON, 0.05)
    assert {(each.why, each.latest_on, each.landings) for each in looks} == {("now", ON, 0.0)}
    assert min(each.chance_now for each in looks) > 0.05


def test_due_brakes_stored_aircraft_and_unknown_limits_are_said():
    posterior = many()[1]
    few, post = runs_of([Brake((100.0,), (3.0,)) for _ in range(3)]), posterior.iloc[:3]
    due, stored, no_limit = latest_looks(
        installed_of(
            few,
            post,
            limit_wear_mm=np.array([40.0, 40.0, np.nan]),
            due=np.array([True, False, False]),
            aircraft=np.array([1, 2, 3]),
        ),
        flying(),
        ON,
        0.05,
    )
    assert (due.why, due.latest_on, due.kind) == ("at limit", ON, "observed")
    assert (stored.why, stored.latest_on) == ("once a year", ON + dt.timedelta(days=LONGEST_DAYS))
    assert (no_limit.why, no_limit.latest_on, no_limit.landings) == ("no limit", None, None)


@settings(max_examples=25, deadline=None)
@given(
    levels=st.lists(st.floats(0.001, 0.5), min_size=2, max_size=2, unique=True),
    flown=st.floats(0, 1500),
    left=st.floats(-2, 40),
)
def test_days_are_finite_and_never_sooner_for_a_higher_level(levels, flown, left):
    runs, posterior, wear, _ = many()
    some = slice(0, 200)
    part = type(runs)(runs.runs[some], runs.spans[some], runs.readings)
    brakes = installed_of(part, posterior[some], flown=flown, limit_wear_mm=wear[some] + left)
    soon, late = (latest_looks(brakes, flying(), ON, level) for level in sorted(levels))
    at = {each.serial: each.latest_on for each in late}
    assert all(
        ON <= each.latest_on <= at[each.serial] <= ON + dt.timedelta(days=LONGEST_DAYS) for each in soon
    )


def test_an_aircraft_has_the_earliest_day_of_its_brakes_and_stands_in_its_order():
    """Two aircraft from records: the worn brake of the second brings it to the front with all its brakes."""
    rows = [b.base(), b.limit(10), b.aircraft(1), b.aircraft(2)]
    for craft in (1, 2):
        rows += b.daily(craft, "2026-01-01", 180, 4)
        for position in (1, 2):
            serial = 10 * craft + position
            rows.append(b.installation(serial, "2026-01-01", aircraft=craft, position=str(position)))
            pace = 0.05 if serial == 21 else 0.02
            rows += [
                b.reading(serial, f"{ON - dt.timedelta(days=ago)}", f"{50 - pace * 4 * (180 - ago):.1f}")
                for ago in (150, 120, 90, 60, 30, 0)
            ]
    records = b.records(*rows)
    runs = measure_runs(records, ON)
    brakes = installed_brakes(runs, fit_fleet(runs), learn_flying(records, ON), ON)
    looks = latest_looks(brakes, learn_flying(records, ON), ON, 0.05)
    assert [each.registration for each in looks] == ["ZZ-002", "ZZ-002", "ZZ-001", "ZZ-001"]
    assert looks[0].serial == "S21"
    for craft in ("ZZ-001", "ZZ-002"):
        own = [each for each in looks if each.registration == craft]
        assert {each.aircraft_latest_on for each in own} == {min(each.latest_on for each in own)}


@pytest.mark.parametrize("level", [0.0, 0.51])
def test_a_level_that_is_no_small_chance_is_refused(level):
    runs, posterior, _, _ = many()
    with pytest.raises(ValueError, match="above 0 and at most at 0"):
        latest_looks(installed_of(runs, posterior), flying(), ON, level)


def test_the_level_is_the_assumption_of_the_narrowest_scope_else_the_start_value():
    wide = Assumption(NAME, 0.1, "1", "invented", dt.date(2026, 1, 1))
    narrow = Assumption(NAME, 0.02, "1", "invented", dt.date(2026, 1, 1), brake_type="BT-1")
    assert level_for(AssumptionSet(())) is START_VALUE
    assert level_for(AssumptionSet((wide, narrow)), brake_type="BT-1").value == 0.02
    assert level_for(AssumptionSet((wide, narrow)), brake_type="BT-2").value == 0.1


def test_the_day_is_the_last_one_and_the_chance_counts_from_the_last_reading():
    """Flying known exactly, four landings a day: by the day the level is not passed, a day later it is."""
    runs, posterior, wear, _ = many()
    some = slice(0, 400)
    part = type(runs)(runs.runs[some], runs.spans[some], runs.readings)
    brakes = installed_of(part, posterior[some], flown=60.0, limit_wear_mm=wear[some] + 8.0)
    exact = replace(flying(), cv_u=0.0, phi=0.0)
    looks = {each.serial: each for each in latest_looks(brakes, exact, ON, 0.05)}
    found = [looks[serial] for serial in brakes.frame["serial"]]
    assert [each.chance_now for each in found] == pytest.approx(brakes.law.passed(), abs=1e-9)
    days = np.array([(each.latest_on - ON).days for each in found])
    for late in (0, 1):
        then = 60.0 + exact.expected_landings(np.ones(400, dtype=np.int64), days + late)
        over = replace(brakes.law, flown=then).passed() > 0.05
        assert over.mean() == late
    unsure = latest_looks(brakes, replace(exact, cv_u=0.3), ON, 0.05)
    assert all(each.latest_on < looks[each.serial].latest_on for each in unsure if each.why == "wear")
    assert any(each.why == "wear" for each in unsure)


def test_a_brake_whose_last_readings_are_copies_is_looked_at_now():
    """Unless a reading makes it due already, or no limit is known."""
    few, post = runs_of([Brake((100.0,), (3.0,)) for _ in range(4)]), many()[1].iloc[:4]
    brakes = installed_of(
        few,
        post,
        limit_wear_mm=np.array([40.0, 40.0, np.nan, 40.0]),
        due=np.array([False, True, False, False]),
        copied=np.array([True, True, True, False]),
        aircraft=np.array([2, 1, 1, 1]),
    )
    looks = {each.why: each for each in latest_looks(brakes, flying(), ON, 0.05)}
    assert set(looks) == {"copied", "at limit", "no limit", "wear"}
    assert (looks["copied"].latest_on, looks["copied"].landings) == (ON, 0.0)
    assert looks["copied"].chance_now < 0.05
