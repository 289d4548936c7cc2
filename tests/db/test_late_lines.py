"""Lines typed against a record that stands: they wait, stop nobody, and are dropped or settled, never lost."""

import datetime as dt

import pytest

from db.chain import Act
from db.entry.corrections import correct, withdraw
from db.entry.landings import record_landings
from db.entry.landings_sheet import (
    Keeper,
    drop_late_line,
    late_line_of,
    lines_of_sheet,
    open_landings_sheet,
    post_landings_sheet,
)
from db.entry.sheets import TypedLine, keep_lines
from db.errors import ConflictError, NotFoundError
from db.landing_lines import Reported
from db.late_lines import late_lines, says_the_record
from db.recorded import read_record
from db.sheets import lines_of, sheets_in_conflict, sheets_waiting
from tests.ledger import ACT, TODAY, rows

DAY = dt.date(2026, 3, 14)
NO_BASE = ""  # the aircraft of the small fleet have none
CORA, DIRK = (Keeper(name, dt.datetime(2026, 3, 14, 18, tzinfo=dt.UTC)) for name in ("cora", "dirk"))
WHY = Act("cora", "form", "correct a record", "read again")


class OneSheet:
    """The landings sheet of a base and day, two people typing in it."""

    def __init__(self, session):
        self.session = session
        self.sheet = open_landings_sheet(session, NO_BASE, DAY, "count", by=CORA)

    def types(self, by, key, landings, place="ZZ-001", seen=()):
        line = TypedLine(key, place, {"full_stops": landings, "touch_and_gos": ""}, seen)
        keep_lines(self.session, self.sheet.code, (line,), person=by.person, now=by.now)

    def posts(self, by, **recorded):
        told = [
            {"registration": name.replace("_", "-"), "day": DAY, "full_stops": count}
            for name, count in recorded.items()
        ]
        before = lines_of_sheet(self.session, NO_BASE, DAY, self.sheet)
        if told:
            record_landings(self.session, ACT, rows("landings", *told))
        return post_landings_sheet(self.session, self.sheet, by=by, before=before)

    def record(self, place="ZZ-001"):
        lines = lines_of_sheet(self.session, NO_BASE, DAY, self.sheet)
        return next(each.reported.record for each in lines if each.registration == place)

    def waits(self):
        kept = lines_of(self.session, self.sheet.code)
        lines = lines_of_sheet(self.session, NO_BASE, DAY, self.sheet)
        return [each.key for line in lines for each in late_lines(kept, line)]

    def states(self):
        kept = lines_of(self.session, self.sheet.code, replaced=True)
        return {each.key: each.state for each in kept}


@pytest.fixture
def sheet(small_fleet):
    """Cora posted 2 for ZZ-001; Dirk, who had not seen it, typed 7."""
    found = OneSheet(small_fleet)
    found.types(CORA, "a", "2")
    found.posts(CORA, ZZ_001=2)
    found.types(DIRK, "z", "7")
    return found


def test_a_line_against_the_record_waits_and_the_others_post(sheet):
    assert sheet.waits() == ["z"]
    sheet.types(DIRK, "y", "3", "ZZ-002")
    assert sheet.posts(DIRK, ZZ_002=3).state == "posted"
    assert sheet.states() == {"a": "posted", "z": "conflict", "y": "posted"}
    assert [each.code for each in sheets_in_conflict(sheet.session)] == [sheet.sheet.code]


def test_a_line_dropped_is_kept_with_who_dropped_it(sheet):
    for _ in range(2):
        drop_late_line(sheet.session, sheet.sheet, "z", by=CORA)
    assert sheet.waits() == []
    assert sheets_in_conflict(sheet.session) == ()
    kept = {each.key: each for each in lines_of(sheet.session, sheet.sheet.code, replaced=True)}
    assert (kept["z"].state, kept["z"].typed["full_stops"], kept["z"].person) == ("replaced", "7", "dirk")
    (dropped,) = (each for key, each in kept.items() if key not in {"a", "z"})
    assert (dropped.person, dropped.state, dropped.typed) == ("cora", "replaced", {})


def test_a_record_corrected_to_what_was_typed_settles_it(sheet):
    found = read_record(sheet.session, sheet.record())
    correct(sheet.session, WHY, found.fact, version=found.tag, values={"full_stops": "7"}, today=TODAY)
    assert sheet.waits() == []
    assert sheet.states()["z"] == "replaced"
    assert sheets_in_conflict(sheet.session) == ()
    assert late_line_of(sheet.session, found.fact, "z") is None


def test_a_line_that_waits_proposes_its_values_to_the_record_that_it_waits_against_alone(sheet):
    found = late_line_of(sheet.session, sheet.record(), "z")
    assert (found.proposed, found.line.person) == ({"full_stops": "7"}, "dirk")
    assert late_line_of(sheet.session, sheet.record(), "a") is None
    assert late_line_of(sheet.session, sheet.record(), "x") is None
    assert late_line_of(sheet.session, sheet.record() + 1, "z") is None
    drop_late_line(sheet.session, sheet.sheet, "z", by=CORA)
    assert late_line_of(sheet.session, sheet.record(), "z") is None


def test_a_line_of_one_day_proposes_nothing_to_a_record_of_several(small_fleet):
    found = OneSheet(small_fleet)
    days = {"day": DAY - dt.timedelta(days=1), "to_day": DAY}
    record_landings(small_fleet, ACT, rows("landings", {"registration": "ZZ-001", "full_stops": 5} | days))
    found.types(DIRK, "z", "7")
    assert late_line_of(small_fleet, found.record(), "z").proposed == {}


def test_a_record_corrected_to_a_third_value_leaves_it_waiting(sheet):
    found = read_record(sheet.session, sheet.record())
    correct(sheet.session, WHY, found.fact, version=found.tag, values={"full_stops": "5"}, today=TODAY)
    assert sheet.waits() == ["z"]


def test_once_the_record_is_withdrawn_the_place_is_torn_again(sheet):
    found = read_record(sheet.session, sheet.record())
    withdraw(sheet.session, WHY, found.fact, version=found.tag)
    assert sheet.waits() == []
    with pytest.raises(ConflictError, match="differ in ZZ-001"):
        sheet.posts(DIRK)
    with pytest.raises(ConflictError, match="not on record for that day"):
        drop_late_line(sheet.session, sheet.sheet, "z", by=CORA)


def test_a_line_that_replaced_the_posted_one_waits_too(small_fleet):
    """Dirk's page had Cora's line before it was posted, and he changes it after."""
    found = OneSheet(small_fleet)
    found.types(CORA, "a", "2")
    found.posts(CORA, ZZ_001=2)
    found.types(DIRK, "z", "7", seen=("a",))
    assert found.waits() == ["z"]
    found.posts(DIRK, ZZ_002=3)
    assert found.states()["z"] == "conflict"


def test_a_place_torn_before_anybody_posted_it_is_not_settled_by_posting_one_side(small_fleet):
    found = OneSheet(small_fleet)
    found.types(CORA, "a", "2")
    found.types(DIRK, "z", "7")
    with pytest.raises(ConflictError, match="differ in ZZ-001"):
        found.posts(CORA, ZZ_001=2)


def test_what_another_typed_and_nobody_recorded_stands_after_the_post(small_fleet):
    found = OneSheet(small_fleet)
    found.types(DIRK, "y", "3", "ZZ-002")
    found.posts(CORA, ZZ_001=2)
    assert found.states() == {"y": "standing"}
    assert [each.code for each in sheets_waiting(small_fleet)] == [found.sheet.code]


def test_a_line_of_another_sheet_is_not_dropped(sheet):
    with pytest.raises(NotFoundError, match="no line 'x' was typed on sheet"):
        drop_late_line(sheet.session, sheet.sheet, "x", by=CORA)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"full_stops": "2"}, True),
        ({"full_stops": "2", "touch_and_gos": ""}, True),
        ({"full_stops": "2", "touch_and_gos": "1"}, False),
        ({"full_stops": "7"}, False),
        ({"full_stops": "x"}, False),
        ({"full_stops": ""}, False),
    ],
)
def test_a_line_says_the_record_where_all_that_was_typed_is_on_it(typed, says):
    assert says_the_record(typed, Reported(1, DAY, None, 2, None, None, None)) is says
