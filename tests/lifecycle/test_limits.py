"""Which wear limit is in force: by brake type, weight variant, position group and day."""

import datetime as dt

import pytest

from lifecycle.exposure import measure_runs
from tests.builders import (
    aircraft,
    aircraft_type,
    brake,
    brake_type,
    change,
    daily,
    installation,
    limit,
    reading,
    records,
)

ON = dt.date(2024, 6, 30)


def limit_of(*rows, variant="heavy", position="2", on=ON):
    """Limit in mm left of one brake in position 2 (group in), and the warnings that speak of limits."""
    fleet = records(
        aircraft(1, weight_variant=variant), installation(1, "2024-01-01", position=position), *rows
    )
    run = measure_runs(fleet, on).runs.iloc[0]
    said = [note for note in run["warnings"] if "limit" in note]
    return None if run["limit_mm"] != run["limit_mm"] else run["limit_mm"], said


def test_the_most_specific_limit_holds():
    rows = [
        limit(8),
        limit(10, weight_variant="heavy"),
        limit(12, weight_variant="heavy", position_group="in"),
    ]
    assert limit_of(rows[0]) == (8, [])
    assert limit_of(*rows[:2]) == (10, [])
    assert limit_of(*rows) == (12, [])


def test_limits_of_another_type_variant_or_group_do_not_hold():
    rows = [
        limit(8),
        limit(20, "BT-2"),
        limit(21, weight_variant="light"),
        limit(22, position_group="out"),
        brake_type(),
        brake_type("BT-2"),
    ]
    assert limit_of(*rows) == (8, [])


def test_of_two_equally_specific_limits_the_tighter_holds():
    rows = [limit(9, weight_variant="heavy"), limit(11, position_group="in")]
    assert limit_of(*rows) == (11, [])
    assert limit_of(*reversed(rows)) == (11, [])


def test_of_two_equally_specific_limits_in_two_conventions_the_tighter_holds():
    rows = [limit(11, weight_variant="heavy"), limit(38, position_group="in", convention="used")]
    assert limit_of(*rows) == (12, [])


def test_of_equal_limits_the_one_that_takes_the_brake_off_is_the_tighter():
    rows = [
        limit(9, weight_variant="heavy", at_limit="allowed"),
        limit(9, position_group="in", at_limit="off"),
    ]
    fleet = records(aircraft(1, weight_variant="heavy"), installation(1, "2024-01-01", position="2"), *rows)
    assert measure_runs(fleet, ON).runs["at_limit"].tolist() == ["off"]


def test_a_later_limit_replaces_the_earlier_from_its_day():
    rows = [limit(8), limit(9, effective_on="2024-03-01"), limit(7, effective_on="2024-09-01")]
    assert limit_of(*rows, on=dt.date(2024, 2, 29)) == (8, [])
    assert limit_of(*rows, on=dt.date(2024, 3, 1)) == (9, [])
    assert limit_of(*rows, on=ON) == (9, [])


def test_a_limit_not_yet_effective_is_none():
    found, said = limit_of(limit(8, effective_on="2024-09-01"))
    assert found is None
    assert said == ["no wear limit on record for BT-1, heavy, in"]


@pytest.mark.parametrize(
    "rows",
    [
        [limit(8), limit(10, weight_variant="heavy")],
        [limit(8, weight_variant="light"), limit(10, weight_variant="heavy")],
        [limit(10, weight_variant="heavy")],
    ],
)
def test_an_unknown_weight_variant_has_no_limit_where_limits_depend_on_it(rows):
    found, said = limit_of(*rows, variant="")
    assert found is None
    assert said == ["weight variant not known, and the limits of BT-1 depend on it: no limit"]


def test_an_unknown_weight_variant_has_a_limit_where_it_makes_no_difference():
    assert limit_of(limit(8), limit(8, weight_variant="heavy"), variant="") == (8, [])


def test_an_unknown_position_group_is_treated_the_same_way():
    rows = [aircraft_type(groups=""), limit(8), limit(10, position_group="in")]
    assert limit_of(*rows)[1] == ["position group not known, and the limits of BT-1 depend on it: no limit"]


def test_the_weight_variant_of_the_day_decides():
    rows = [
        limit(8, weight_variant="light"),
        limit(10, weight_variant="heavy"),
        change(1, "2024-05-01", weight_variant="light"),
    ]
    assert limit_of(*rows, on=dt.date(2024, 4, 30)) == (10, [])
    assert limit_of(*rows, on=dt.date(2024, 5, 1)) == (8, [])


def test_an_ended_run_keeps_the_limit_of_the_day_it_ended():
    fleet = records(
        daily(1, "2024-01-01", 100),
        limit(8),
        limit(9, effective_on="2024-03-01"),
        installation(1, "2024-01-01", "2024-02-01", removal_reason="worn"),
        installation(2, "2024-02-01"),
    )
    assert measure_runs(fleet, ON).runs["limit_mm"].tolist() == [8, 9]


def test_many_brakes_of_many_scopes_get_the_limit_each_would_get_alone():
    variants, kinds = ("light", "heavy", ""), ("BT-1", "BT-2")
    limits = [
        limit(5 + 2 * i + j, kind, weight_variant=variant)
        for i, kind in enumerate(kinds)
        for j, variant in enumerate(("light", "heavy"))
    ]
    spots = [(number, variants[number % 3], kinds[number % 2]) for number in range(1, 25)]
    alone = [
        limit_of(brake_type(kind), brake(1, brake_type=kind), *limits, variant=variant)[0]
        for _, variant, kind in spots
    ]
    fleet = records(
        *(brake_type(kind) for kind in kinds),
        *(aircraft(number, weight_variant=variant) for number, variant, _ in spots),
        *(brake(number, brake_type=kind) for number, _, kind in spots),
        *(installation(number, "2024-01-01", aircraft=number, position="2") for number, _, _ in spots),
        *limits,
        reading(1, "2024-02-01", 40),
    )
    together = measure_runs(fleet, ON).runs["limit_mm"]
    assert [None if value != value else value for value in together] == alone  # noqa: PLR0124 NaN is unequal to itself
