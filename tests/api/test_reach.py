"""How far the log reaches: made logs whose gaps are counted by hand."""

import datetime as dt
from dataclasses import replace

from fastapi import Request

from api.pages.against_facts import page_of
from api.pages.frame import render
from api.pages.navigation import AGAINST_FACTS
from api.pages.reach import Gap, Reach, reach_of
from api.pages.scope import frame_of
from api.past_forecasts import shown_score
from api.studies import ask
from tests.builders import aircraft, change, daily, landings, records


def test_a_whole_log_has_nothing_missing():
    assert reach_of(records(daily(1, "2026-01-01", 60))) == Reach(dt.date(2026, 3, 1), 0)


def test_before_the_first_landing_there_is_no_reach():
    assert reach_of(records(aircraft())) == Reach(None, 0)


def test_a_day_without_a_row_is_missing_and_a_zero_is_not():
    log = records(daily(1, "2026-01-01", 50), landings(1, "2026-02-20", 0), landings(1, "2026-02-22", 2))
    gone = dt.date(2026, 2, 21)
    assert reach_of(log) == Reach(dt.date(2026, 2, 22), 1, (Gap("ZZ-001", gone, gone),))


def test_a_blank_is_not_reported_and_a_running_total_is():
    log = records(
        daily(1, "2026-01-01", 50),
        landings(1, "2026-02-20", None),
        landings(1, "2026-02-21", None, total_landings=900.0),
        landings(1, "2026-02-22", 2),
    )
    assert reach_of(log).missing_aircraft_days == 1


def test_a_period_total_covers_its_days():
    log = records(daily(1, "2026-01-01", 50), landings(1, "2026-02-20", 30, to_day="2026-03-01"))
    assert reach_of(log) == Reach(dt.date(2026, 3, 1), 0)


def test_an_aircraft_that_fell_behind_is_missing_each_day_since():
    craft = (aircraft(1), aircraft(2, base="Away"))
    log = records(*craft, daily(1, "2026-01-01", 60), daily(2, "2026-01-01", 55))
    gap = Gap("ZZ-002", dt.date(2026, 2, 25), dt.date(2026, 3, 1))
    assert gap.days == 5
    assert reach_of(log) == Reach(dt.date(2026, 3, 1), 5, (gap,))
    assert reach_of(log, "Away").missing_aircraft_days == 5
    assert reach_of(log, "Home").missing_aircraft_days == 0


def test_an_aircraft_in_store_is_not_missed():
    log = records(
        aircraft(1), aircraft(2), change(2, "2026-02-25", status="stored"), daily(1, "2026-01-01", 60),
        daily(2, "2026-01-01", 55),
    )  # fmt: skip
    assert reach_of(log).missing_aircraft_days == 0


def test_no_more_than_fifty_gaps_are_told_and_all_are_counted():
    every_other = [landings(1, f"2026-02-{day:02}", 2) for day in range(2, 29, 2)]
    others = [aircraft(number) for number in range(2, 60)]
    log = records(aircraft(1), *others, daily(1, "2026-01-01", 10), *every_other)
    found = reach_of(log)
    assert len(found.gaps) == 50
    assert found.missing_aircraft_days == 58 * 30 + 16


def test_an_aircraft_is_told_by_the_name_that_it_carried_on_the_day():
    log = records(aircraft(1), aircraft(2), change(2, "2026-02-20", new_registration="ZZ-9"),
                  daily(1, "2026-01-01", 60), daily(2, "2026-01-01", 55))  # fmt: skip
    assert [gap.registration for gap in reach_of(log).gaps] == ["ZZ-9"]


def test_a_day_before_the_log_s_first_says_what_the_answer_rests_on(shown_client):
    app = shown_client.app
    engine = app.state.engine
    study = ask(engine, on=None, known_on=None, seed=1)
    request = Request({"type": "http", "app": app, "path": "/", "query_string": b"", "headers": []})

    def shown(study):
        page = page_of(frame_of(request, AGAINST_FACTS, study), study, shown_score(engine, study))
        return render("against_facts.html", page).body.decode()

    assert "it grows with what is brought in later." in shown(replace(study, known_on=dt.date(2026, 6, 30)))
    assert "The log begins on" not in shown(study)
