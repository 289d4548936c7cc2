"""What is said of a reading before it is saved: verdicts, slips, and that no value is ever offered."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle.errors import BadRecordsError
from lifecycle.expected import PinLaw
from lifecycle.plausible import AS_EXPECTED, LOOK_AGAIN, NOTE, REFUSED, Against, Typed, judge

LAW = PinLaw(24.6, 0.5, 100.0, "estimated")
AGAINST = Against(
    LAW,
    new_mm=50.0,
    last=Typed("27.1", "mm"),
    measurement_mm=0.2,
    others={"2": PinLaw(31.5, 0.5, 100.0, "estimated"), "3": PinLaw(12.0, 0.5, 100.0, "estimated")},
)


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("24.6", AS_EXPECTED),
        ("25.5", AS_EXPECTED),
        ("25.7", NOTE),
        ("23.5", NOTE),
        ("26.2", LOOK_AGAIN),
        ("23.0", LOOK_AGAIN),
        ("51.1", AS_EXPECTED),
        ("51.2", REFUSED),
    ],
)
def test_verdicts_follow_the_ranges(text, verdict):
    against = AGAINST if float(text) < 40 else Against(None, new_mm=50.0)
    assert judge(Typed(text, "mm"), against).verdict == verdict


@pytest.mark.parametrize(
    ("text", "unit", "slip"),
    [
        ("2.46", "mm", "a slip of the decimal point"),
        ("246", "mm", "a slip of the decimal point"),
        ("0.969", "mm", "inches written as millimetres"),
        ("24.6", "in", "millimetres written as inches"),
        ("42.6", "mm", "two digits swapped"),
        ("26.4", "mm", "two digits swapped"),
        ("31.4", "mm", "the brake in position 2"),
        ("27.1", "mm", "copied from last time"),
    ],
)
def test_a_slip_is_named(text, unit, slip):
    said = judge(Typed(text, unit), AGAINST)
    assert said.verdict in {LOOK_AGAIN, REFUSED}
    assert slip in said.slips


def test_wear_used_is_judged_as_length_left():
    used = Typed("25.4", "mm", sign=-1.0, offset_mm=50.0)
    assert judge(used, AGAINST).verdict == AS_EXPECTED
    assert judge(Typed("50.5", "mm", -1.0, 50.0), AGAINST).verdict == LOOK_AGAIN
    assert judge(Typed("51.2", "mm", -1.0, 50.0), AGAINST).verdict == REFUSED
    assert "a slip of the decimal point" in judge(Typed("2.54", "mm", -1.0, 50.0), AGAINST).slips


def test_a_pin_that_grew_is_asked_about_though_the_range_holds_it():
    wide = Against(PinLaw(24.6, 5.0, 100.0, "assumed"), last=Typed("26.0", "mm"), measurement_mm=0.2)
    assert judge(Typed("26.9", "mm"), wide).verdict == AS_EXPECTED
    assert judge(Typed("27.1", "mm"), wide).verdict == LOOK_AGAIN
    renewed = Against(PinLaw(24.6, 5.0, 100.0, "assumed"), last=Typed("26.0", "mm"), renewed=True)
    assert judge(Typed("30.1", "mm"), renewed).verdict == AS_EXPECTED


def test_the_same_as_last_time_is_said_with_a_note():
    law = PinLaw(26.0, 0.5, 1000.0, "estimated")
    said = judge(Typed("27.1", "mm"), Against(law, last=Typed("27.1", "mm"), measurement_mm=0.2))
    assert (said.verdict, said.slips) == (NOTE, ("copied from last time",))


def test_what_is_no_length_is_no_reading():
    with pytest.raises(BadRecordsError, match=re.escape("'12..4' is not a number")):
        judge(Typed("12..4", "mm"), AGAINST)


lengths = st.decimals(0, 120, places=1).map(str)


@given(lengths, st.sampled_from(["mm", "in"]))
def test_no_value_is_ever_offered(text, unit):
    said = judge(Typed(text, unit), AGAINST)
    words = " ".join([said.reason, *said.slips]).replace("99 in 100", "").replace("95 in 100", "")
    assert re.findall(r"\d+", words) in ([], ["2"], ["3"])


@given(lengths)
def test_what_is_told_is_a_range_within_nothing_and_new(text):
    low, high = judge(Typed(text, "mm"), AGAINST).expected
    assert 0.0 <= low <= high <= 50.0
