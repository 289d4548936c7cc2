"""Notices of rejected take-offs and overheats: which brakes, until which inspection, never just gone."""

import pytest

from db.entry.recorders import recorders
from db.notices import notices, open_notices, untold_takeoffs
from tests.ledger import ACT, installation, rows


def enter(session, kind, *told):
    recorders()[kind](session, ACT, rows(kind, *told))


def event(day="2026-03-10", **more):
    return {"registration": "ZZ-001", "day": day, "event": "rejected take-off", **more}


@pytest.fixture
def ledger(small_fleet):
    enter(small_fleet, "installations", *(installation(f"S{i}", i, "2026-01-01") for i in (1, 2)))
    yield small_fleet
    small_fleet.rollback()


def state(session):
    return [(each.position, each.inspection and each.inspection.work_order) for each in notices(session)]


def test_an_event_stands_until_an_inspection_with_a_work_order_is_recorded(ledger):
    enter(ledger, "events", event(position="1"))
    assert state(ledger) == [("1", None)]
    assert len(open_notices(ledger)) == 1
    enter(ledger, "events", event("2026-03-11", event="inspection", position="1"))
    assert state(ledger) == [("1", None)]
    enter(ledger, "events", event("2026-03-12", event="inspection", position="1", work_order="W-7"))
    assert state(ledger) == [("1", "W-7")]
    assert open_notices(ledger) == ()


@pytest.mark.parametrize(
    "seen",
    [
        {"day": "2026-03-09", "position": "1"},
        {"day": "2026-03-11", "position": "2"},
        {"day": "2026-03-11", "position": "1", "registration": "ZZ-002"},
    ],
    ids=["before the event", "another position", "another aircraft"],
)
def test_another_inspection_does_not_count(ledger, seen):
    enter(ledger, "events", event(position="1"))
    enter(ledger, "events", {**event(event="inspection", work_order="W-7"), **seen})
    assert state(ledger) == [("1", None)]


def test_an_inspection_recorded_before_the_event_does_not_count(ledger):
    enter(ledger, "events", event("2026-03-20", event="inspection", work_order="W-1"))
    enter(ledger, "events", event())
    assert state(ledger) == [("", None)]


def test_a_file_may_bring_event_and_inspection_together(ledger):
    enter(ledger, "events", event("2026-03-11", event="inspection", work_order="W-1"), event())
    assert state(ledger) == [("", "W-1")]


def test_the_whole_aircraft_is_inspected_when_every_position_is(ledger):
    enter(ledger, "events", event())
    for position in "123":
        seen = event("2026-03-11", event="inspection", position=position, work_order="W-1")
        enter(ledger, "events", seen)
        assert state(ledger) == [("", None)]
    enter(ledger, "events", event("2026-03-12", event="inspection", position="4", work_order="W-2"))
    assert state(ledger) == [("", "W-2")]


def test_the_notice_goes_with_the_brake_to_another_aircraft(ledger):
    enter(ledger, "events", event(position="1"))
    enter(ledger, "installations", installation("S1", 1, "2026-01-01", removed_on="2026-04-01"))
    enter(
        ledger,
        "installations",
        installation("S1", 3, "2026-04-02", registration="ZZ-002", starts_as="same run"),
    )
    (notice,) = notices(ledger, aircraft=[], brakes=notices(ledger)[0].brakes)
    assert (notice.registration, notice.position, len(notice.brakes)) == ("ZZ-001", "1", 1)
    assert notices(ledger, aircraft=[]) == ()


def test_landings_that_tell_of_a_rejected_take_off_ask_for_its_event(ledger):
    day = {"registration": "ZZ-001", "day": "2026-03-10", "full_stops": 2, "rejected_takeoffs": 1}
    enter(ledger, "landings", day)
    assert [(each.registration, str(each.day)) for each in untold_takeoffs(ledger)] == [
        ("ZZ-001", "2026-03-10")
    ]
    enter(ledger, "events", event())
    assert untold_takeoffs(ledger) == ()
