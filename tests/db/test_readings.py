import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from db.chain import Act
from db.entry.flown import landings_at_most
from db.entry.installations import record_installations, record_removals
from db.entry.landings import record_landings
from db.entry.readings import record_pin_readings
from db.entry.rulings import record_rulings
from db.entry.work import record_reshims
from db.errors import RowsRefusedError
from db.lookup import current
from db.records.brakes import Brake
from db.records.readings import PinReading
from tests.ledger import ACT, TODAY, installation, removal, rows

BEN = Act("ben", "form", "rule on a reading")


@pytest.fixture
def ledger(small_fleet):
    """S1 (new 2024-01-01, 50 mm) in position 1, S2 of unknown start in position 2."""
    start = installation("S1", 1, "2024-01-01"), installation("S2", 2, "2024-01-01", starts_as="unknown")
    record_installations(small_fleet, ACT, rows("installations", *start))
    return small_fleet


def reading(day, *pins, serial="S1", **values):
    typed = {f"pin_{place}": pin for place, pin in enumerate(pins, 1)}
    given_ = {"serial": serial, "day": f"2024-{day}", "unit": "mm", "convention": "left", "cold": "yes"}
    return {**given_, "brakes_applied": "yes", **typed, **values}


def record(session, *entered, **options):
    return record_pin_readings(session, ACT, rows("pin_readings", *entered), **options)


def refused(session, *entered):
    with pytest.raises(RowsRefusedError) as caught:
        record(session, *entered)
    return [(error.row, error.column, error.rule) for error in caught.value.errors]


def on_record(session):
    found = session.execute(current(PinReading).order_by(PinReading.day, PinReading.id)).all()
    return [(str(row.day)[5:], row.pins, row.pin_nm, row.state) for row in found]


def test_pins_are_kept_as_typed_and_the_shortest_governs(ledger):
    assert record(ledger, reading("02-01", "48.0", "47.25"), reading("03-01", "46", "47.0")).held == 0
    assert on_record(ledger) == [
        ("02-01", "48.0;47.25", 47_250_000, "accepted"),
        ("03-01", "46;47.0", 46_000_000, "accepted"),
    ]
    steps = ledger.execute(select(PinReading.resolution_nm).order_by(PinReading.day)).scalars().all()
    assert steps == [10_000, 100_000]


def test_inches_are_exact(ledger):
    record(ledger, reading("02-01", "1.888", "1.9", unit="in"))
    assert on_record(ledger)[0][2] == 1_888 * 25_400


@pytest.mark.parametrize("convention", ["gap", "used"])
def test_of_gap_and_wear_used_the_largest_governs(ledger, convention):
    record(ledger, reading("02-01", "2.5", "3.0", convention=convention))
    assert on_record(ledger)[0][2] == 3_000_000


def test_a_check_without_a_value_has_none(ledger):
    record(ledger, reading("02-01", within_limit="yes"))
    assert on_record(ledger) == [("02-01", None, -1, "accepted")]
    assert "neither a pin" in refused(ledger, reading("03-01"))[0][2]


def test_the_same_rows_twice_add_nothing_however_they_are_typed(ledger):
    record(ledger, reading("02-01", "48.0", "47.0"), reading("03-01", within_limit="yes"))
    again = record(ledger, reading("02-01", "48", "47.00"), reading("03-01", within_limit="yes"))
    assert (again.added, again.same) == (0, 2)


def test_another_reader_of_the_same_reading_points_to_corrections(ledger):
    record(ledger, reading("02-01", "48.0", "47.0", reader="ann"))
    assert refused(ledger, reading("02-01", "48.0", "47.0", reader="ben"))[0][1] == "reader"


def test_a_differing_reading_is_kept_and_held(ledger):
    record(ledger, reading("02-01", "48.0", "48.0"))
    outcome = record(ledger, reading("02-01", "47.9", "48.0"))
    assert (outcome.added, outcome.held) == (1, 1)
    assert [line[3] for line in on_record(ledger)] == ["accepted", "held"]
    pair = reading("03-01", "46.0", "46.0"), reading("03-01", "46.2", "46.0")
    assert record(ledger, *pair).held == 1
    assert record(ledger, reading("03-01", "46.2", "46.0", occasion="heavy check")).held == 0


def test_a_longer_pin_than_new_is_refused(ledger):
    assert "longer than new (50 mm)" in refused(ledger, reading("02-01", "51.5", "52"))[0][2]
    assert record(ledger, reading("02-01", "51.0", "51.0")).held == 0


def test_more_wear_than_a_pin_is_long_is_refused(ledger):
    assert "worn" in refused(ledger, reading("02-01", "52.0", serial="S2", convention="used"))[0][2]


def test_negative_lengths_and_days_ahead_are_refused(ledger):
    frame = rows("pin_readings", reading("02-01", "48.0"), reading("03-01", "47.0"))
    frame["pin_1"] = pd.array(["-48.0", "47.0"], dtype="str")
    frame.loc[1, "day"] = pd.Timestamp(TODAY) + pd.Timedelta(days=3)
    with pytest.raises(RowsRefusedError) as caught:
        record_pin_readings(ledger, ACT, frame)
    assert {(error.row, error.column) for error in caught.value.errors} == {(1, "pin_1"), (2, "day")}


def test_hot_released_uninstalled_and_missing_pins_are_flagged(ledger):
    outcome = record(
        ledger,
        reading("02-01", "48.0", "48.0", cold="no"),
        reading("02-02", "48.0", "48.0", brakes_applied="no"),
        reading("02-03", "48.0", "48.0", serial="S3"),
        reading("02-04", "48.0"),
    )
    assert outcome.held == 0
    words = ["hot", "released", "not installed", "not every pin"]
    assert [(flag.row, word in flag.text) for flag, word in zip(outcome.flags, words, strict=True)] == [
        (row, True) for row in (1, 2, 3, 4)
    ]


def test_more_pins_than_the_brake_has_are_refused(ledger):
    assert "2 pins" in refused(ledger, reading("02-01", "48.0", "48.0", "48.0"))[0][2]


def test_a_pin_that_grew_is_held(ledger):
    record(ledger, reading("02-01", "40.0", "40.0"))
    outcome = record(ledger, reading("03-01", "43.0", "43.0"))
    assert outcome.held == 1
    assert "longer than the reading before" in outcome.flags[0].text
    assert record(ledger, reading("03-02", "41.0", "41.0")).held == 0, "within gauge and hand"


def test_a_pin_that_grew_to_its_new_length_asks_for_the_missing_record(ledger):
    record(ledger, reading("02-01", "30.0", "30.0"))
    assert "no overhaul or re-shim" in record(ledger, reading("03-01", "49.8", "49.8")).flags[0].text


def test_a_pin_may_grow_with_a_reshim_or_a_new_run(ledger):
    record(ledger, reading("02-01", "20.0", "20.0"), reading("02-01", "20.0", "20.0", serial="S2"))
    record_reshims(ledger, ACT, rows("reshims", {"serial": "S1", "day": "2024-02-10", "step_mm": "10"}))
    assert record(ledger, reading("03-01", "29.0", "29.0")).held == 0
    moves = (
        installation("S2", 2, "2024-01-01", removed_on="2024-02-10", starts_as="unknown"),
        installation("S2", 2, "2024-02-20", starts_as="overhauled"),
    )
    record_installations(ledger, ACT, rows("installations", *moves))
    assert record(ledger, reading("03-01", "49.0", "49.0", serial="S2")).held == 0


def test_a_back_dated_reading_shorter_than_the_next_is_held(ledger):
    record(ledger, reading("03-01", "45.0", "45.0"))
    assert "next reading" in record(ledger, reading("02-01", "43.0", "43.0")).flags[0].text


def test_a_hot_reading_is_no_yardstick(ledger):
    record(ledger, reading("02-01", "44.0", "44.0", cold="no"))
    assert record(ledger, reading("03-01", "47.0", "47.0")).held == 0


@pytest.mark.parametrize(
    ("pins", "unit", "words"),
    [
        (("4.81", "4.83"), "mm", "decimal point"),
        (("481", "483"), "mm", "decimal point"),
        (("1.89", "1.90"), "mm", "inches written as millimetres"),
        (("48.1", "48.3"), "in", "millimetres written as inches"),
    ],
)
def test_a_slip_is_held_and_named_and_no_value_is_offered(ledger, pins, unit, words):
    record(ledger, reading("02-01", "48.5", "48.5"))
    outcome = record(ledger, reading("02-08", *pins, unit=unit))
    assert outcome.held == 1
    assert words in outcome.flags[0].text
    assert "48" not in outcome.flags[0].text
    assert not any(character.isdigit() for character in outcome.flags[0].text)


def test_a_slip_in_the_first_reading_of_a_new_run_is_seen(ledger):
    assert "decimal point" in record(ledger, reading("01-05", "4.95", "4.95")).flags[0].text


def test_a_slip_of_wear_used_is_seen(ledger):
    record(ledger, reading("02-01", "1.9", "2.0", convention="used"))
    assert "decimal point" in record(ledger, reading("02-08", "22", "23", convention="used")).flags[0].text


def test_one_slip_makes_none_of_its_followers_look_odd(ledger):
    line = [
        reading("02-01", "48.0", "48.0"),
        reading("02-08", "4.79", "4.79"),
        reading("02-15", "47.5", "47.5"),
    ]
    outcome = record(ledger, *line)
    assert [flag.row for flag in outcome.flags] == [2]
    assert record(ledger, reading("02-22", "47.0", "47.0")).held == 0


def test_a_second_slip_of_the_same_brake_is_seen_too(ledger):
    pins = [("02-01", "48.0"), ("02-08", "4.79"), ("02-15", "47.5"), ("02-22", "474"), ("02-29", "47.0")]
    outcome = record(ledger, *(reading(day, pin, pin) for day, pin in pins))
    assert [flag.row for flag in outcome.flags] == [2, 4]


def test_a_plain_fall_is_nothing_odd(ledger):
    record(ledger, reading("02-01", "48.0", "48.0"))
    assert record(ledger, reading("09-01", "22.0", "22.0")).flags == ()


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(wear=st.lists(st.integers(0, 30), min_size=1, max_size=12))
def test_a_pin_that_only_wears_is_never_held(ledger, wear):
    left, line = 500, []
    for month, tenths in enumerate(wear):
        left -= tenths
        line.append(reading(f"{month + 1:02d}-28", f"{left / 10}", f"{left / 10}"))
    with ledger.begin_nested() as trial:
        assert record(ledger, *line).held == 0
        trial.rollback()


def held_one(session):
    record(session, reading("02-01", "40.0", "40.0"))
    record(session, reading("03-01", "43.0", "43.0"))
    return session.execute(current(PinReading).where(PinReading.state == "held")).one().fact


def rule(session, act, number, state="accepted"):
    frame = pd.DataFrame({"row": [1], "reading": [number], "state": [state], "note": [""]})
    return record_rulings(session, act, frame)


def test_nobody_rules_on_their_own_held_reading(ledger):
    number = held_one(ledger)
    with pytest.raises(RowsRefusedError, match="entered by ann"):
        rule(ledger, ACT, number)
    assert rule(ledger, BEN, number).added == 1


def test_a_ruled_reading_counts_from_then_on(ledger):
    number = held_one(ledger)
    rule(ledger, BEN, number)
    assert record(ledger, reading("04-01", "43.5", "43.5")).held == 0
    with pytest.raises(RowsRefusedError, match="neither held nor in doubt"):
        rule(ledger, BEN, number)


@pytest.mark.parametrize(("number", "state"), [(999_999, "accepted"), (None, "held")])
def test_rulings_on_nothing_or_that_rule_nothing_are_refused(ledger, number, state):
    with pytest.raises(RowsRefusedError):
        rule(ledger, BEN, held_one(ledger) if number is None else number, state)


def test_a_state_in_a_file_stands_only_in_an_administrators_load(ledger):
    record(ledger, reading("02-01", "40.0", "40.0"))
    grown = reading("03-01", "43.0", "43.0", state="accepted")
    with ledger.begin_nested() as trial:
        assert record(ledger, grown).held == 1
        trial.rollback()
    assert record(ledger, grown, approved=True).held == 0
    assert record(ledger, reading("04-01", "38.0", "38.0", state="held")).held == 1


def flown(session, *days, full_stops=100, registration="ZZ-001"):
    entered = [{"registration": registration, "day": f"2024-{day}", "full_stops": full_stops} for day in days]
    record_landings(session, ACT, rows("landings", *entered))


def test_a_brake_that_wore_far_over_many_landings_is_not_taken_for_a_slip(ledger):
    flown(ledger, *(f"02-{day:02d}" for day in range(1, 21)))
    # Used 40 of 50 mm in 2,000 landings: ten times too large it would be near new, but it need not be.
    assert record(ledger, reading("02-21", "40.0", convention="used")).held == 0


def test_a_pin_shorter_than_its_landings_can_have_worn_it_is_held(ledger):
    flown(ledger, *(f"02-{day:02d}" for day in range(1, 20)), full_stops=5)
    record(ledger, reading("02-01", "44.0"))
    held = record(ledger, reading("02-15", "24.0"))
    assert "than the landings since" in held.flags[0].text
    # 75 landings at 0.127 mm, and a gauge's own millimetre.
    assert record(ledger, reading("02-16", "34.0")).held == 0


def test_of_readings_brought_in_together_the_one_out_of_line_is_held_and_not_those_that_follow(ledger):
    flown(ledger, *(f"02-{day:02d}" for day in range(1, 29)))
    outcome = record(
        ledger,
        reading("02-05", "46.1"),
        reading("02-12", "41.6"),
        reading("02-19", "44.6"),
        reading("02-26", "44.0"),
    )
    assert [flag.row for flag in outcome.flags if flag.text.startswith("held")] == [2]


def test_landings_at_most_are_those_of_the_aircraft_while_the_brake_was_on_it(ledger):
    flown(ledger, *(f"01-{day:02d}" for day in range(1, 15) if day != 5), full_stops=3)
    record_removals(ledger, ACT, removal("S1", "2024-01-10", removal_reason="worn"))
    s1 = ledger.scalar(select(Brake.id).where(Brake.serial == "S1"))
    days = pd.to_datetime(["2024-01-01", "2024-01-02", "2024-01-05", "2024-01-10", "2024-02-01"])
    asked = pd.DataFrame({"brake": [s1] * 5, "day": days})
    # Not those of the day it went on, twelve on the day without a record, those of the day it came off, none after.
    assert landings_at_most(ledger, asked).tolist() == [0, 3, 9 + 12, 9 + 12 + 15, 9 + 12 + 15]


@pytest.mark.parametrize("number", [999_999, 999_999.0])
def test_a_ruling_that_is_refused_names_the_record_without_decimals(ledger, number):
    with pytest.raises(RowsRefusedError) as refused:
        rule(ledger, BEN, number)
    assert {(error.column, error.value) for error in refused.value.errors} == {("reading", "999999")}
