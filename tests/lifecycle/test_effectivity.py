"""Brakes where the effectivity on record does not put them."""

import datetime as dt

import pytest

from lifecycle.effectivity import note_effectivity
from lifecycle.exposure import measure_runs
from tests import builders as b

ON = dt.date(2025, 6, 1)


def entry(brake_type="BT-1", aircraft_type="twin", **scope):
    return b.Row("effectivity", {"aircraft_type": aircraft_type, "brake_type": brake_type, **scope})


def said(*rows) -> dict[str, bool]:
    """Whether each of two fitted brakes, positions 1 (out) and 2 (in), is said to be outside."""
    fitted = [b.installation(1, "2025-01-01", position="1"), b.installation(2, "2025-01-01", position="2")]
    records = b.records(*fitted, b.installation(3, "2025-01-01", "2025-02-01", position="3"), *rows)
    runs = note_effectivity(measure_runs(records, ON), records, ON).runs
    told = {
        run.serial: any("outside effectivity" in text for text in run.warnings) for run in runs.itertuples()
    }
    assert not told.pop("S3")  # on no aircraft
    return told


def test_nothing_is_said_where_no_effectivity_is_on_record():
    assert said() == {"S1": False, "S2": False}
    assert said(entry(aircraft_type="quad")) == {"S1": False, "S2": False}


def test_brake_type_not_listed_for_the_aircraft_type_is_outside():
    assert said(entry("BT-2")) == {"S1": True, "S2": True}
    assert said(entry("BT-2"), entry("BT-1")) == {"S1": False, "S2": False}


@pytest.mark.parametrize(
    ("scope", "first", "second"),
    [
        ({"position_group": "in"}, True, False),
        ({"aircraft": 1.0}, False, False),
        ({"aircraft": 2.0}, True, True),
        ({"weight_variant": "heavy"}, True, True),
        ({"from_on": "2025-06-01"}, False, False),
        ({"from_on": "2025-06-02"}, True, True),
        ({"to_on": "2025-06-02"}, False, False),
        ({"to_on": "2025-06-01"}, True, True),
    ],
)
def test_entry_counts_within_its_scope_and_its_days(scope, first, second):
    assert said(entry(**scope)) == {"S1": first, "S2": second}
