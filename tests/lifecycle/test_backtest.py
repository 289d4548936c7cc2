"""Past forecasts made again: what counts, what came, and that a forecast by the truth is scored as calibrated."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from lifecycle.assumptions import AssumptionSet
from lifecycle.backtest import Then, backtest, origins_for
from lifecycle.came import passages
from lifecycle.hindcast import hindcast
from lifecycle.issued import Issued, score_issued
from lifecycle.rivals import straight_lines
from lifecycle.study import Study, open_study
from tests import builders as b

FIRST, DAYS = dt.date(2023, 1, 1), 1000
ON = FIRST + dt.timedelta(days=DAYS - 1)


def day(number):
    return (FIRST + dt.timedelta(days=int(number))).isoformat()


def history(seed=1, aircraft=6):
    """Four positions an aircraft, brakes one after the other, taken off at the first reading at the limit."""
    rng = np.random.default_rng(seed)
    rows, number = [b.limit(10)], 0
    for craft in range(1, aircraft + 1):
        rows += [b.aircraft(craft), *b.daily(craft, day(0), DAYS, 4)]
        for position in "1234":
            begun = 0
            while begun < DAYS:
                number += 1
                rate = rng.normal(0.04, 0.004)
                path = np.cumsum(rng.normal(0, 0.05 * 2, DAYS))  # 4 landings a day
                read = np.arange(begun + int(rng.integers(5, 20)), DAYS, 14)
                pins = 50 - rate * 4 * (read - begun) - path[read - begun] + rng.normal(0, 0.15, read.size)
                low = np.flatnonzero(pins <= 10)
                end = read[low[0]] if low.size else None
                seen = read if end is None else read[: low[0] + 1]
                off = {} if end is None else {"removed_on": day(end), "removal_reason": "worn"}
                rows.append(b.installation(number, day(begun), aircraft=craft, position=position, **off))
                rows += [
                    b.reading(number, day(at), f"{max(pin, 0):.1f}")
                    for at, pin in zip(seen, pins, strict=False)
                ]
                begun = DAYS if end is None else end
    return rows


def opened_on(rows, origin):
    """The records that had taken effect by a day."""
    frames = b.records(*rows)
    return open_study(frames, AssumptionSet(()), on=origin, known_on=origin, seed=1)


def cut(rows, origin):
    """As of a day: nothing dated later, no removal that had not happened."""
    kept = []
    for row in rows:
        columns = row.columns
        if columns.get("day", columns.get("installed_on", "")) > origin.isoformat():
            continue
        if (columns.get("removed_on") or "") > origin.isoformat():
            row = b.Row(row.frame, {**columns, "removed_on": None, "removal_reason": ""})  # noqa: PLW2901 - as it was
        kept.append(row)
    return kept


@pytest.fixture(scope="module")
def scored():
    rows = history()
    study = opened_on(rows, ON)
    origins = origins_for(study, 4)
    asked = []

    def opened(origin):
        asked.append(origin)
        return Then(opened_on(cut(rows, origin), origin), as_known=True)

    found = backtest(study, origins, opened)
    assert tuple(asked) == origins
    return study, found


def test_a_fleet_that_wears_as_the_model_says_is_covered_as_promised(scored):
    """Nominal 0.80; about 70 change-outs of brakes that overlap in time, hence the width."""
    _, found = scored
    assert found.outcomes > 50
    assert 0.66 <= found.coverage_80 <= 0.93
    assert found.inside == round(found.coverage_80 * found.outcomes)
    assert abs(found.bias_landings) < 25
    assert abs(found.bias_days * 4 - found.bias_landings) < 25
    assert 0.75 < found.crps / found.crps_if_right < 1.3
    assert sum(found.pit) == pytest.approx(1.0)
    assert found.next_reading.outcomes == 4 * 24
    assert 0.68 <= found.next_reading.coverage_80 <= 0.92


def test_the_forecast_beats_both_plain_rivals(scored):
    _, found = scored
    assert found.crps < found.crps_straight_line
    assert found.crps < found.crps_average_life
    assert found.next_reading.crps_mm < found.next_reading.crps_average_life_mm
    assert found.next_reading.crps_mm < found.next_reading.crps_straight_line_mm


def test_misses_are_those_outside_and_say_on_which_side(scored):
    _, found = scored
    assert len(found.misses) == found.outcomes - found.inside
    for miss in found.misses:
        if miss.came_landings is None:
            assert miss.side == "later"
        else:
            assert (miss.came_landings < miss.p10) == (miss.side == "sooner")
            assert not miss.p10 <= miss.came_landings <= miss.p90


def test_which_forecasts_count_is_settled_by_the_forecast_alone(scored):
    """To count what is over already favours the short-lived: the range of each that counts has run out by now."""
    study, found = scored
    for origin in found.origin_days:
        then = opened_on(cut(history(), origin), origin)
        told = hindcast(then.runs, then.fit, then.flying, origin, study.runs, study.fit, ON)
        assert (told["p90"] <= told["horizon"]).all()
    assert told["came"].min() >= 0


def test_no_history_gives_no_score():
    rows = [b.limit(10), b.installation(1, day(0)), *b.daily(1, day(0), 10, 4)]
    study = opened_on(rows, FIRST + dt.timedelta(days=9))
    found = backtest(study, origins_for(study, 3), lambda _: Then(study, as_known=True))
    assert (found.origins, found.outcomes, found.coverage_80, found.crps, found.pit) == (0, 0, None, None, ())
    assert found.next_reading.coverage_80 is None


def test_the_limit_is_reached_between_two_readings_in_proportion():
    """12 mm at 100 landings, 9 mm at 160, limit 10: two thirds of the way, at 140 (worked by hand)."""
    rows = [
        b.limit(10),
        b.installation(1, day(0), day(40), removal_reason="worn"),
        *b.daily(1, day(1), 60, 4),
    ]
    rows += [b.reading(1, day(25), 12), b.reading(1, day(40), 9)]
    study = opened_on(rows, FIRST + dt.timedelta(days=60))
    found = passages(study.runs, study.fit).iloc[0]
    assert found["passed_at"] == pytest.approx(140)
    assert found["passed_on"] == pd.Timestamp(FIRST) + pd.Timedelta(days=35)


def test_a_leak_says_nothing_of_the_limit():
    rows = [
        b.limit(10),
        b.installation(1, day(0), day(40), removal_reason="leak"),
        *b.daily(1, day(1), 60, 4),
    ]
    rows += [b.reading(1, day(25), 40), b.reading(1, day(40), 36)]
    study = opened_on(rows, FIRST + dt.timedelta(days=60))
    assert np.isnan(passages(study.runs, study.fit).iloc[0]["passed_at"])


def test_the_straight_line_goes_through_the_last_five_readings():
    """Against numpy's least squares."""
    rows = [b.limit(10), b.installation(1, day(0)), *b.daily(1, day(1), 90, 4)]
    pins = [49, 46, 44.5, 41, 40, 37, 34.2]
    rows += [b.reading(1, day(10 * (at + 1)), pin) for at, pin in enumerate(pins)]
    study = opened_on(rows, FIRST + dt.timedelta(days=90))
    slope, level = np.polyfit(40.0 * np.arange(3, 8), 50 - np.array(pins[2:]), 1)
    line = straight_lines(study.runs).iloc[0]
    assert (line["slope"], line["level"]) == pytest.approx((slope, level))


def issued(shown, *days):
    return Issued("S-1", shown, "S1", "BT-1", *(FIRST + dt.timedelta(days=each) for each in days))


def test_forecasts_as_shown_are_scored_in_days():
    """Limit reached on day 35: one range holds it, one ends before, one has not run out, one is of a later run."""
    rows = [
        b.limit(10),
        b.installation(1, day(0), day(40), removal_reason="worn"),
        *b.daily(1, day(1), 60, 4),
    ]
    rows += [b.reading(1, day(25), 12), b.reading(1, day(40), 9)]
    study: Study = opened_on(rows, FIRST + dt.timedelta(days=60))
    shown, later = FIRST + dt.timedelta(days=10), FIRST + dt.timedelta(days=50)
    found = score_issued(
        study,
        [
            issued(shown, 30, 33, 38),
            issued(shown + dt.timedelta(days=1), 20, 25, 30),
            issued(shown + dt.timedelta(days=2), 30, 50, 90),
            issued(later, 51, 52, 53),
        ],
    )
    assert (found.outcomes, found.inside, found.coverage_80) == (2, 1, 0.5)
    assert found.bias_days == (33 - 35 + 25 - 35) / 2
