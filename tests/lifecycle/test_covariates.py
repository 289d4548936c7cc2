import numpy as np
import pandas as pd
import pytest

from lifecycle.covariates import Covariates, choose, shares_at, shares_flown, shares_now, spans_of

NOW = pd.DataFrame({"position_group": ["in", "out", "in"], "base": ["B", "A", "C"]})


def spans(*rows):
    return pd.DataFrame(rows, columns=["run", "base", "position_group", "landings_from", "landings_to"])


def test_a_brake_that_moved_counts_at_each_base_by_its_landings():
    moved = spans((0, "A", "in", 0.0, 300.0), (0, "B", "in", 300.0, 900.0), (1, "A", "out", 0.0, 50.0))
    shares = shares_flown(
        spans_of(moved, moved["run"].to_numpy()), np.array([400.0, 50.0, 0.0]), shares_now(NOW)
    )
    assert shares["base", "A"].tolist() == [0.75, 1.0, 0.0]
    assert shares["base", "B"].tolist() == [0.25, 0.0, 0.0]


def test_a_brake_that_has_not_landed_counts_where_it_is():
    fresh = spans((0, "A", "in", 0.0, 0.0), (1, "A", "out", 0.0, 50.0), (2, "C", "in", 0.0, 0.0))
    shares = shares_flown(
        spans_of(fresh, fresh["run"].to_numpy()), np.array([0.0, 50.0, 0.0]), shares_now(NOW)
    )
    assert shares["base", "C"].tolist() == [0.0, 0.0, 1.0]
    assert shares["base", "B"].tolist() == [1.0, 0.0, 0.0]
    assert sum(shares["base", level] for level in "ABC").tolist() == [1.0, 1.0, 1.0]


def test_a_level_that_every_run_shares_is_dropped_and_named():
    shares = {("base", "A"): np.ones(3), ("position_group", "in"): np.array([1.0, 0, 1])}
    chosen = choose(shares | {("position_group", "out"): np.array([0.0, 1, 0])}, np.ones(3, dtype=bool))
    assert chosen.levels == (("position_group", "in"), ("position_group", "out"))
    assert chosen.dropped == ("every run read is at base A: no effect of it can be told",)


def test_a_level_that_repeats_another_is_dropped_and_named():
    in_out = np.array([1.0, 0, 1])
    shares = {("base", "A"): in_out, ("base", "B"): 1 - in_out, ("position_group", "in"): in_out}
    chosen = choose(shares, np.ones(3, dtype=bool))
    assert chosen.levels == (("base", "A"), ("base", "B"))
    assert chosen.dropped == ("position group in cannot be told from base A: one effect for both",)


def test_a_level_only_of_unread_runs_has_no_column():
    shares = {
        ("base", "A"): np.array([1.0, 0.5, 0]),
        ("base", "B"): np.array([0, 0.5, 0.0]),
        ("base", "C"): np.eye(3)[2],
    }
    assert choose(shares, np.array([True, True, False])).levels == (("base", "A"), ("base", "B"))


LEVELS = (("base", "A"), ("base", "B"), ("position_group", "in"), ("position_group", "out"))


@pytest.mark.parametrize(
    ("base", "group", "row", "doubt"),
    [
        ("A", "in", [1, 1, 0, 1, 0], 0.0),
        ("B", "out", [1, 0, 1, 0, 1], 0.0),
        ("elsewhere", "in", [1, 0.5, 0.5, 1, 0], 0.25**2),
        ("", "", [1, 0.5, 0.5, 0.5, 0.5], 0.0),
        ("elsewhere", "nose", [1, 0.5, 0.5, 0.5, 0.5], 0.25**2 + 0.1**2),
    ],
)
def test_a_place_not_known_counts_as_the_average_of_those_known_and_is_doubted(base, group, row, doubt):
    covariates = Covariates(LEVELS, LEVELS)
    at = shares_at(group, base)
    assert covariates.columns(at, 1)[0].tolist() == row
    assert covariates.doubt(at, 1)[0] == pytest.approx(doubt)


def test_the_only_place_known_has_no_column_and_no_doubt():
    covariates = Covariates((), (("base", "A"), ("position_group", "in")))
    for base, doubt in (("A", 0.0), ("B", 0.25**2)):
        at = shares_at("in", base)
        assert covariates.columns(at, 1).tolist() == [[1.0]]
        assert covariates.doubt(at, 1)[0] == pytest.approx(doubt)
