"""Stays as lives under watch: from which age, to which, and what ended them."""

import datetime as dt

import numpy as np
import pytest

from lifecycle.exposure import measure_runs
from lifecycle.stays_watched import NOT_RECORDED, SOONEST, watched_stays
from lifecycle.wear import fit_fleet
from tests import builders as b

FIRST = dt.date(2026, 1, 1)
ON = FIRST + dt.timedelta(days=120)


def day(number):
    return f"{FIRST + dt.timedelta(days=number)}"


def watched(*rows, log_from=0):
    """One aircraft that makes four landings a day from `log_from` on; limits and readings as given."""
    records = b.records(b.limit(10), *b.daily(1, day(log_from), 121 - log_from, 4), *rows)
    runs = measure_runs(records, ON)
    return watched_stays(runs, fit_fleet(runs), records)


def test_a_brake_that_went_on_new_under_the_log_is_watched_from_the_start():
    found = watched(b.installation(1, day(0), day(50), removal_reason="leak"), b.installation(2, day(50)))
    assert found.reason.tolist() == ["leak", ""]
    assert found.entered.tolist() == [0, 0]
    assert found.left == pytest.approx([200, 280])
    assert found.landings == pytest.approx([200, 280])


def test_a_brake_that_comes_back_within_its_run_is_watched_from_its_age_on():
    found = watched(
        b.installation(1, day(0), day(20), removal_reason="robbed"),
        b.installation(1, day(40), starts_as="same run", position="2"),
    )
    assert found.entered == pytest.approx([0, 80])
    assert found.left == pytest.approx([80, 400])


def test_what_a_brake_brings_along_counts_as_age_and_not_as_watched():
    found = watched(
        b.brake(1, landings_since_overhaul=500.0),
        b.installation(1, "2025-06-01", day(30), removal_reason="vibration"),
    )
    assert found.entered == pytest.approx([500])
    # The landings of the first day on record count too: the brake was on before it.
    assert found.landings == pytest.approx([124])
    assert found.left == pytest.approx([624])


def test_landings_counted_before_the_log_are_age_and_not_watched():
    """A counter at installation tells 300 landings before the log begins; had it come off then, nobody would know."""
    log = [b.landings(1, day(0), 4, total_landings=1304), *b.daily(1, day(1), 120, 4)]
    records = b.records(
        b.limit(10), *log, b.installation(1, "2025-06-01", landings_on=1000.0), b.reading(1, day(60), "40")
    )
    runs = measure_runs(records, ON)
    found = watched_stays(runs, fit_fleet(runs), records)
    assert found.left == pytest.approx([784])
    assert found.landings == pytest.approx([484])
    assert found.entered == pytest.approx([300])


@pytest.mark.parametrize("starts_as", ["unknown", "refurbished"])
def test_the_age_of_a_heat_sink_of_unknown_start_is_told_by_its_wear(starts_as):
    """Invented: 0.05 mm a landing; 20 of 50 mm were gone when the log began, which is 400 landings."""
    readings = [b.reading(1, day(at), f"{30 - 0.05 * 4 * at:.2f}") for at in range(10, 90, 10)]
    found = watched(b.installation(1, "2025-06-01", starts_as=starts_as), *readings)
    assert found.aged.all()
    assert found.entered[0] == pytest.approx(400, rel=0.05)


def test_without_a_reading_the_age_is_not_known_and_the_landings_count_all_the_same():
    found = watched(b.installation(1, "2025-06-01", day(30), starts_as="unknown", removal_reason="leak"))
    assert np.isnan(found.entered).all()
    assert not found.aged.any()
    assert found.landings == pytest.approx([124])


def test_a_removal_on_the_first_day_and_one_without_a_reason():
    found = watched(
        b.installation(1, day(10), day(10), removal_reason="leak"), b.installation(2, day(10), day(20))
    )
    assert found.left[0] == SOONEST
    assert found.reason.tolist() == ["leak", NOT_RECORDED]
