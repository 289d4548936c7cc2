import pandas as pd
import pytest
from sqlalchemy import func, select

from db.entry.landings import record_counter_changes, record_landings
from db.errors import ConflictError, RowsRefusedError
from db.records.readings import Landing
from tests.ledger import ACT, TODAY, rows


@pytest.fixture
def ledger(small_fleet):
    return small_fleet


def day(number, full_stops="", total="", **values):
    """A row of landings of ZZ-001 on a day of January 2024."""
    given = {"registration": "ZZ-001", "day": f"2024-01-{number:02d}", "full_stops": full_stops}
    return {**given, "total_landings": total, **values}


def record(session, *entered):
    return record_landings(session, ACT, rows("landings", *entered))


def refused(session, *entered):
    with pytest.raises(RowsRefusedError) as caught:
        record(session, *entered)
    return [(error.row, error.column, error.rule) for error in caught.value.errors]


def test_the_same_rows_twice_add_nothing(ledger):
    entered = [day(1, 2, 102), day(2, 3, 105), day(3, "", "")]
    assert record(ledger, *entered).added == 3
    again = record(ledger, *entered)
    assert (again.added, again.same) == (0, 3)


def test_blank_is_not_reported_and_zero_is_zero(ledger):
    record(ledger, day(1, 0), day(2, ""))
    found = ledger.execute(select(Landing.full_stops).order_by(Landing.day)).scalars().all()
    assert found == [0, None]


def test_a_different_value_points_to_corrections(ledger):
    record(ledger, day(1, 2))
    assert "the record already there has 2" in refused(ledger, day(1, 3))[0][2]


def test_a_total_that_falls_is_refused_naming_both_neighbours(ledger):
    record(ledger, day(1, 2, 102), day(5, 2, 110))
    assert refused(ledger, day(3, 2, 101)) == [
        (
            1,
            "total_landings",
            "a running total never falls; on record are 102 on 2024-01-01 and 110 on 2024-01-05",
        )
    ]
    assert "nothing after" in refused(ledger, day(9, 2, 109))[0][2]
    assert record(ledger, day(3, 2, 104)).added == 1


def test_late_sheets_in_one_file_are_compared_with_each_other(ledger):
    record(ledger, day(1, 2, 102), day(9, 2, 120))
    found = refused(ledger, day(6, 2, 108), day(3, 2, 112))
    assert {error[:2] for error in found} == {(1, "total_landings"), (2, "total_landings")}


def test_totals_of_other_aircraft_do_not_matter(ledger):
    record(ledger, day(1, 2, 500), day(2, 1, 20, registration="ZZ-002"))


def test_a_total_is_compared_far_beyond_the_days_between(ledger):
    record(ledger, day(1, 2, 102), *(day(n, 1) for n in range(2, 20)))
    assert refused(ledger, day(25, 1, 90))[0][1] == "total_landings"


def test_a_replaced_counter_starts_anew(ledger):
    record(ledger, day(1, 2, 5000))
    change = {"registration": "ZZ-001", "day": "2024-01-10", "starts_at": "7"}
    assert record_counter_changes(ledger, ACT, rows("counter_changes", change)).added == 1
    assert record(ledger, day(11, 2, 9), day(2, 1, 5001)).added == 2
    assert "the counter began at 7" in refused(ledger, day(10, 0, 6))[0][2]
    counters = ledger.execute(select(Landing.counter).order_by(Landing.day)).scalars().all()
    assert counters == [1, 1, 2]


def test_a_counter_change_before_totals_already_read_is_refused(ledger):
    record(ledger, day(11, 2, 5000))
    change = {"registration": "ZZ-001", "day": "2024-01-10", "starts_at": "0"}
    with pytest.raises(RowsRefusedError, match="on or after this day"):
        record_counter_changes(ledger, ACT, rows("counter_changes", change))


def test_overlapping_periods_are_refused_with_what_is_there(ledger):
    record(ledger, day(1, 20, to_day="2024-01-10"))
    assert refused(ledger, day(10, 2)) == [(1, "day", "overlaps 2024-01-01 to 2024-01-10 (on record)")]
    assert refused(ledger, day(8, 2, to_day="2024-01-12"))[0][1] == "day"
    assert record(ledger, day(11, 2)).added == 1
    assert refused(ledger, day(12, 2, to_day="2024-01-15"), day(14, 1))[0][2].endswith("(row 1)")


def test_a_day_ahead_is_refused(ledger):
    frame = rows("landings", day(1, 2))
    frame["day"] = pd.to_datetime([TODAY]).astype("datetime64[s]") + pd.Timedelta(days=3)
    with pytest.raises(RowsRefusedError, match="future"):
        record_landings(ledger, ACT, frame)


def test_totals_and_counts_that_disagree_are_flagged(ledger):
    record(ledger, day(1, 2, 102))
    flags = record(ledger, day(2, 3), day(3, 1, 107)).flags
    assert [(flag.row, flag.text) for flag in flags] == [
        (2, "the total rose by 5 since 2024-01-01, the days written down have 4 landings")
    ]
    assert record(ledger, day(4, 1, 109, touch_and_gos=1)).flags == ()


def test_a_day_not_reported_between_totals_is_no_disagreement(ledger):
    record(ledger, day(1, 2, 102))
    assert record(ledger, day(2, ""), day(3, 1, 107)).flags == ()


def test_the_database_refuses_a_falling_total_that_slipped_past_the_entry(ledger, monkeypatch):
    record(ledger, day(1, 2, 102), day(5, 2, 110))
    monkeypatch.setattr("db.entry.landings.refuse_falling_totals", lambda *_: None)
    for low in (day(3, 2, 101), day(3, 2, 111), day(9, 2, 1)):
        with pytest.raises(ConflictError, match="running total"), ledger.begin_nested():
            record(ledger, low)
    assert record(ledger, day(3, 2, 104)).added == 1
    assert ledger.execute(select(func.count()).select_from(Landing)).scalar_one() == 3


def test_rows_of_unknown_aircraft_are_refused(ledger):
    assert refused(ledger, day(1, 2, registration="ZZ-9"))[0][1] == "registration"


def test_a_total_is_held_against_all_days_written_down_since_the_last_one(small_fleet):
    day = {"registration": "ZZ-001", "full_stops": "4"}
    record_landings(small_fleet, ACT, rows("landings", day | {"day": "2026-01-01", "total_landings": 100}))
    for number in (2, 3, 4, 5):
        record_landings(small_fleet, ACT, rows("landings", day | {"day": f"2026-01-0{number}"}))
    last = day | {"day": "2026-01-06", "total_landings": 120}
    assert not record_landings(small_fleet, ACT, rows("landings", last)).flags
    odd = day | {"day": "2026-01-07", "total_landings": 125}
    (flag,) = record_landings(small_fleet, ACT, rows("landings", odd)).flags
    assert flag.text == "the total rose by 5 since 2026-01-06, the days written down have 4 landings"
