"""The record of one brake: everything a page tells of it, from one study."""

import datetime as dt
import functools

import numpy as np
import pandas as pd
import pytest

from lifecycle.assumptions import AssumptionSet
from lifecycle.errors import BadRecordsError
from lifecycle.story import BrakeStory, brake_story
from lifecycle.study import Study, changeouts, open_study
from tests import builders as b

ON = dt.date(2025, 12, 31)
RATE, A_DAY = 0.03, 3


def readings(brake, first, last, *, worn_from, rng, every=14):
    """Readings every two weeks of a brake that wears evenly from 50 mm on the day it went on."""
    rows = []
    for day in pd.date_range(first, last, freq=f"{every}D"):
        worn = RATE * A_DAY * (day - pd.Timestamp(worn_from)).days
        rows.append(b.reading(brake, day.date().isoformat(), f"{50 - worn + rng.normal(0, 0.15):.1f}"))
    return rows


@functools.cache
def study() -> Study:
    """Brake 1 wore out, was overhauled and went on again; 2 wears; 3 lies on the shelf; 4 was never read."""
    rng = np.random.default_rng(6)
    rows = [
        b.limit(10),
        *b.daily(1, "2024-01-01", 731, A_DAY),
        b.installation(1, "2023-12-31", "2025-02-10", position="1", removal_reason="worn"),
        b.shop_visit(1, "2025-02-12", "2025-03-20"),
        b.installation(1, "2025-04-01", position="2", starts_as="overhauled"),
        b.installation(2, "2025-02-10", position="1"),
        b.installation(3, "2024-01-01", "2024-06-01", position="3", removal_reason="leak"),
        b.installation(4, "2025-06-01", position="4"),
        *readings(1, "2024-01-14", "2025-02-09", worn_from="2023-12-31", rng=rng),
        *readings(1, "2025-04-20", "2025-12-20", worn_from="2025-04-01", rng=rng),
        *readings(2, "2025-03-01", "2025-12-20", worn_from="2025-02-10", rng=rng),
        *readings(3, "2024-01-20", "2024-05-20", worn_from="2024-01-01", rng=rng),
        b.reading(1, "2025-12-24", "49.0", state="held"),
    ]
    assumptions = AssumptionSet(())
    return open_study(b.records(*rows), assumptions, on=ON, known_on=ON, seed=1, number="S-TEST")


@functools.cache
def story(brake) -> BrakeStory:
    return brake_story(study(), brake)


def test_story_says_what_the_list_of_change_outs_says():
    listed = {change.serial: change for change in changeouts(study())}
    for brake in (1, 2, 4):
        told = story(brake)
        assert told.change_out == listed[told.serial]
        assert (told.pin_mm, told.read_on) == (told.change_out.pin_mm, told.change_out.read_on)
        assert told.warnings == told.change_out.warnings


def test_story_says_which_brake_it_is_and_where():
    told = story(1)
    assert (told.study, told.on, told.serial, told.brake_type, told.material) == (
        "S-TEST",
        ON,
        "S1",
        "BT-1",
        "carbon",
    )
    assert (told.state, told.registration, told.position, told.base) == ("fitted", "ZZ-001", "2", "Home")
    assert told.landings_a_day == pytest.approx(A_DAY, rel=0.01)
    assert told.landings_in_run == pytest.approx(A_DAY * (ON - dt.date(2025, 4, 1)).days, abs=A_DAY)


def test_pin_its_day_and_the_landings_since_are_of_one_reading():
    told = story(1)
    assert (told.pin_mm, told.read_on) == (49.0, dt.date(2025, 12, 24))
    assert told.landings_since_read == pytest.approx(A_DAY * (ON - dt.date(2025, 12, 24)).days)


def test_a_held_low_reading_stays_in_sight_with_the_later_one_beside_it():
    """The dates beside it are about those that the forecast gives once the low one is refused."""
    held, refused = (low_then_high(state) for state in ("held", "refused"))
    assert (held.pin_mm, held.read_on) == (1.3, dt.date(2025, 12, 1))
    assert held.landings_since_read == pytest.approx(A_DAY * 30)
    assert (refused.pin_mm, refused.read_on) == (18.5, dt.date(2025, 12, 20))
    assert refused.landings_since_read == pytest.approx(A_DAY * 11)
    (text,) = [text for text in held.change_out.warnings if text.startswith("a later reading")]
    assert text in held.warnings
    first, rest = text.split("by it due between ")
    assert first == "a later reading of 18.5 mm on 20 Dec 2025 is above the limit; "
    days, ruling = rest.split("; ")
    assert ruling == "rule on the held reading of 1 Dec 2025"
    soonest, latest = (pd.Timestamp(day).date() for day in days.split(" and "))
    assert abs((soonest - refused.change_out.date_p10).days) < 10
    assert abs((latest - refused.change_out.date_p90).days) < 10
    assert not any("later reading" in text for text in refused.warnings)


def low_then_high(state) -> BrakeStory:
    rng = np.random.default_rng(3)
    rows = [b.limit(10), *b.daily(1, "2025-01-01", 365, A_DAY), b.installation(1, "2024-12-31")]
    rows += readings(1, "2025-01-14", "2025-12-18", worn_from="2024-12-31", rng=rng)
    rows += [b.reading(1, "2025-12-01", "1.3", state=state), b.reading(1, "2025-12-20", "18.5")]
    return brake_story(open_study(b.records(*rows), AssumptionSet(()), on=ON, known_on=ON, seed=1), 1)


def test_readings_say_what_keeps_them_out_of_the_rate():
    told = story(1)
    assert len(told.readings) == 29 + 18 + 1
    held = told.readings[-1]
    assert (held.day, held.left_mm, held.used, held.why_not) == (dt.date(2025, 12, 24), 49.0, False, "held")
    assert all(point.used for point in told.readings[:-1])
    assert {point.run for point in told.readings} == {1, 2}


def test_the_last_check_within_the_limit_is_in_the_rate_and_one_before_a_reading_is_not():
    rows = [b.limit(10), *b.daily(1, "2025-01-01", 365, A_DAY)]
    for brake, checks in ((1, ("05-01", "09-01", "10-01")), (2, ("05-01",))):
        rows.append(b.installation(brake, "2024-12-31", position=str(brake)))
        rng = np.random.default_rng(brake)
        rows += readings(brake, "2025-01-14", "2025-06-18", worn_from="2024-12-31", rng=rng)
        rows += [b.reading(brake, f"2025-{day}", None) for day in checks]
    found = open_study(b.records(*rows), AssumptionSet(()), on=ON, known_on=ON, seed=1)
    one, two = (
        [point for point in brake_story(found, brake).readings if not point.left_mm] for brake in (1, 2)
    )
    before = (False, "within limit only")
    assert [(point.used, point.why_not) for point in one] == [before, before, (True, "")]
    assert [(point.used, point.why_not) for point in two] == [before]


def test_path_runs_from_the_start_to_the_last_reading_through_its_band():
    told = story(1)
    own = [point for point in told.readings if point.run == 2 and point.used]
    assert told.fit[0].left_mm == pytest.approx(50, abs=1e-6)
    assert told.fit[-1].landings == own[-1].landings
    assert told.fit[-1].day == own[-1].day
    assert all(point.left_low <= point.left_mm <= point.left_high for point in told.fit)
    at = [point.landings for point in told.fit]
    left = np.interp([point.landings for point in own], at, [point.left_mm for point in told.fit])
    assert np.max(np.abs(left - [point.left_mm for point in own])) < 0.6


def test_fan_leaves_the_last_reading_and_meets_the_limit_where_the_forecast_says():
    told = story(2)
    start = told.fan_by_landings[0]
    assert start.landings == -told.landings_since_read
    assert start.day == dt.date(2025, 12, 20)
    assert start.left_p50 == pytest.approx(told.fit[-1].left_mm, abs=0.01)
    for fan in (told.fan_by_landings, told.fan_by_day):
        for point in fan:
            quantiles = [getattr(point, name) for name in vars(point) if name.startswith("left_p")]
            assert quantiles == sorted(quantiles)
        days = [point.day for point in fan]
        assert days == sorted(days)
    ahead = [point for point in told.fan_by_landings if point.landings >= 0]
    landings = [point.landings for point in ahead]
    crosses = {
        name: np.interp(-told.limit_mm, [-getattr(point, name) for point in ahead], landings)
        for name in ("left_p10", "left_p50", "left_p90")
    }
    change = told.change_out
    # The path may touch the limit before it stays past it, so the chance runs a little ahead of the fan.
    assert crosses["left_p10"] == pytest.approx(change.landings_p10, rel=0.02)
    assert crosses["left_p50"] == pytest.approx(change.landings_p50, rel=0.02)
    assert crosses["left_p90"] == pytest.approx(change.landings_p90, rel=0.02)


def test_fan_over_days_is_wider_for_the_error_of_flying():
    told = story(4)
    last, same = told.fan_by_day[-1], told.fan_by_landings[-1]
    assert last.landings == pytest.approx(same.landings, rel=0.01)
    assert last.left_p95 - last.left_p5 > same.left_p95 - same.left_p5


def test_twenty_equally_likely_outcomes_surround_the_forecast():
    for brake in (1, 2, 4):
        told, change = story(brake), story(brake).change_out
        dates = told.outcome_dates
        assert len(dates) == len(told.outcome_landings) == 20
        assert list(dates) == sorted(dates)
        assert sum(date <= change.date_p50 for date in dates) in (10, 11)
        assert sum(change.date_p10 <= date <= change.date_p90 for date in dates) in (16, 17, 18)


def test_installations_and_earlier_runs_are_told_with_their_rates():
    told = story(1)
    assert [(stay.position, stay.from_on, stay.to_on, stay.removal_reason) for stay in told.stays] == [
        ("1", dt.date(2023, 12, 31), dt.date(2025, 2, 10), "worn"),
        ("2", dt.date(2025, 4, 1), None, ""),
    ]
    assert told.stays[0].landings == told.runs[1].landings
    assert [(run.run, run.state) for run in told.runs] == [(2, "fitted"), (1, "finished")]
    for run in told.runs:
        assert run.rate_mm_per_landing == pytest.approx(RATE, rel=0.05)
        assert run.rate_sd > 0


def test_brake_on_the_shelf_has_a_past_and_no_forecast():
    told = story(3)
    assert (told.state, told.registration, told.change_out) == ("off", "", None)
    assert (told.fan_by_landings, told.outcome_dates, told.landings_a_day) == ((), (), None)
    assert told.read_on == dt.date(2024, 5, 11)
    assert told.pin_mm == told.readings[-1].left_mm
    assert len(told.fit) > 0
    assert told.stays[0].removal_reason == "leak"


def test_brake_never_read_has_a_fan_from_its_type_and_no_path():
    told = story(4)
    assert (told.pin_mm, told.read_on, told.fit, told.readings) == (None, None, (), ())
    assert told.change_out.kind == "assumed"
    assert told.fan_by_landings[0].left_p50 == pytest.approx(50, abs=1e-6)


def test_brake_that_nobody_knows_is_refused():
    with pytest.raises(BadRecordsError, match="brake 99"):
        brake_story(study(), 99)


def reshimmed(step_sd_mm) -> BrakeStory:
    """One brake lifted by 8 mm in the middle of its run."""
    rng = np.random.default_rng(9)
    rows = [b.limit(10), *b.daily(1, "2025-01-01", 365, A_DAY), b.installation(1, "2024-12-31")]
    for day in pd.date_range("2025-01-14", "2025-12-20", freq="14D"):
        lifted = 8.0 if day > pd.Timestamp("2025-07-02") else 0.0
        worn = RATE * A_DAY * (day - pd.Timestamp("2024-12-31")).days
        rows.append(b.reading(1, day.date().isoformat(), f"{50 - worn + lifted + rng.normal(0, 0.15):.1f}"))
    rows.append(b.reshim(1, "2025-07-02", 8.0, step_sd_mm))
    records = b.records(*rows)
    return brake_story(open_study(records, AssumptionSet(()), on=ON, known_on=ON, seed=1), 1)


def away_from_the_path(told) -> float:
    """Largest distance of a reading in the rate from the path drawn, over the landings that the path covers."""
    at, path = ([getattr(point, name) for point in told.fit] for name in ("landings", "left_mm"))
    near = [point for point in told.readings if point.landings >= at[0]]
    nearest = [int(np.argmin(np.abs(np.array(at) - point.landings))) for point in near]
    return max(abs(path[place] - point.left_mm) for place, point in zip(nearest, near, strict=True))


def test_path_jumps_with_a_re_shim_of_a_known_step():
    told = reshimmed(0.0)
    assert told.fit[0].landings == 0
    assert away_from_the_path(told) < 1.5  # half a step of the path drawn, and the gauge


def test_path_begins_anew_after_a_re_shim_of_an_uncertain_step():
    told = reshimmed(1.0)
    after = [point for point in told.readings if point.day > dt.date(2025, 7, 2)]
    assert told.fit[0].landings == after[0].landings
    assert away_from_the_path(told) < 1.5
