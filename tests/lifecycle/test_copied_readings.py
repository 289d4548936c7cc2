"""Readings written again without a look at the pin, put into fleets of known wear; all invented, seeds in the tests."""

from dataclasses import replace

import numpy as np
import pytest

from lifecycle import outliers
from lifecycle.copied_readings import equal_in_a_row, repeated
from lifecycle.outliers import gate
from lifecycle.pathfilter import arrange
from lifecycle.wear import fit_fleet
from lifecycle.wear_fit import fit_wear
from tests.lifecycle.wear_fleet import Brake, paths, runs_of

COPIED = 5


def fleet(seed=31, runs=40, readings=14):
    x, w = paths(np.random.default_rng(seed), runs, readings, measurement_sd=0.15)
    return [Brake(tuple(a), tuple(np.round(b, 1))) for a, b in zip(x, w, strict=True)]


def with_copies(first, last, *, all_equal=False):
    """The fleet, one brake's readings from the first to the last repeating the first; and its wear as it was."""
    brakes = fleet()
    wear = np.array(brakes[COPIED].wear_mm)
    copied = wear.copy()
    copied[first : last + 1] = copied[first]
    brakes[COPIED] = replace(brakes[COPIED], wear_mm=tuple(copied))
    return brakes, wear


@pytest.fixture(scope="module")
def honest():
    return fit_fleet(runs_of(fleet()))


@pytest.fixture(scope="module")
def tail():
    return fit_fleet(runs_of(with_copies(8, 13)[0]))


def said(fit):
    return fit.posterior["warnings"].iloc[COPIED]


def forecast(row, landings):
    """Wear foretold for a number of landings, and its standard deviation."""
    ahead = landings - row["landings_at"]
    own = row["measurement_sd"] ** 2 * row["filter_p"] + (row["gap"] + ahead) ** 2 * row["rate_var"]
    return row["wear_mm"] + row["rate_mm"] * ahead, np.sqrt(own + row["path_sd"] ** 2 * ahead)


def test_copies_at_the_end_of_a_run_are_named_and_the_wear_goes_on_from_the_last_that_moved(tail, honest):
    brakes, wear = with_copies(8, 13)
    row, landings = tail.posterior.iloc[COPIED], brakes[COPIED].landings
    assert len(said(tail)) == 1
    assert said(tail)[0].startswith("5 readings equal to the one before although about ")
    assert said(tail)[0].endswith(
        "copied or unread? the wear is foretold from the last that moved; read it now"
    )
    assert (row["copied"], row["gated"], row["readings"], row["landings_at"]) == (5, 0, 9, landings[8])
    middle, sd = forecast(row, landings[-1])
    assert abs(wear[-1] - middle) < 2.5 * sd
    assert row["rate_mm"] == pytest.approx(honest.posterior["rate_mm"].iloc[COPIED], rel=0.1)
    assert tail.gated["copied"].tolist() == [True] * 5
    assert not tail.gated["reopened"].any()


def test_nobody_else_is_named_where_one_brake_was_copied(tail):
    named = [any("copied" in text for text in each) for each in tail.posterior["warnings"]]
    assert np.flatnonzero(named).tolist() == [COPIED]


def test_a_real_reading_after_copies_lies_on_the_path_and_ends_them(honest):
    brakes, wear = with_copies(5, 9)
    fit = fit_fleet(runs_of(brakes))
    row = fit.posterior.iloc[COPIED]
    assert len(said(fit)) == 1
    assert said(fit)[0].startswith("4 readings equal to the one before although about ")
    assert said(fit)[0].endswith("kept out of the rate")
    assert (row["copied"], row["gated"], row["readings"]) == (0, 0, 10)
    assert row["wear_mm"] == pytest.approx(wear[-1], abs=0.5)
    assert row["rate_mm"] == pytest.approx(honest.posterior["rate_mm"].iloc[COPIED], rel=0.05)


@pytest.mark.parametrize("at", ["near its start", "off the path"])
def test_a_run_of_equal_readings_has_the_rate_of_its_type(at, honest):
    brakes = fleet()
    wear = brakes[COPIED].wear_mm[0] if at == "near its start" else 20.0
    brakes[COPIED] = replace(brakes[COPIED], wear_mm=(wear,) * 14)
    fit = fit_fleet(runs_of(brakes))
    row, model = fit.posterior.iloc[COPIED], fit.types[0]
    assert said(fit)[0].startswith("13 readings equal to the one before although about ")
    assert row["rate_mm"] == pytest.approx(model.rate_mm_per_landing, rel=0.2)
    assert model.rate_mm_per_landing == pytest.approx(honest.types[0].rate_mm_per_landing, rel=0.01)
    assert row["copied"] == 13
    if at == "off the path":
        assert "foretold from its start; read it now" in said(fit)[0]
        assert (row["kind"], row["landings_at"], row["wear_mm"]) == ("assumed", 0.0, 0.0)


def test_readings_of_half_a_millimetre_and_few_landings_are_not_named():
    """2,000 runs read every 2 to 40 landings: two in five have three equal readings or more, none of them a copy."""
    rng = np.random.default_rng(32)
    landings = np.cumsum(rng.integers(2, 40, (2000, 12)), axis=1).astype(float)
    wear = landings * rng.normal(0.03, 0.0036, (2000, 1)) + rng.normal(0, 0.15, landings.shape)
    readings = arrange(landings, np.round(2 * wear) / 2)
    fit = fit_wear(landings[:300], np.round(2 * wear[:300]) / 2, design=np.ones((300, 1)))
    judged = gate(fit, readings, np.ones((2000, 1)))
    assert np.count_nonzero((equal_in_a_row(readings) > 0).any(axis=0)) > 400
    assert not judged.copied.any()


@pytest.mark.long
def test_fewer_than_one_run_in_ten_thousand_is_named_by_chance():
    """Seven gauges and ways of flying, 10,000 runs each; none of 70,000 is named."""
    cases = (
        (0.5, 0.03, 0.2, 2, 40),
        (0.5, 0.03, 0.05, 2, 40),
        (0.5, 0.03, 0.15, 1, 15),
        (25.4 / 32, 0.03, 0.2, 2, 60),
        (0.5, 0.012, 0.1, 5, 60),
        (1.0, 0.03, 0.2, 5, 60),
        (0.1, 0.03, 0.1, 1, 20),
    )
    for seed, (step, rate, gauge, fewest, most) in enumerate(cases, start=1):
        rng = np.random.default_rng(seed)
        landings = np.cumsum(rng.integers(fewest, most, (10_000, 20)), axis=1).astype(float)
        apart = np.diff(landings, axis=1, prepend=0.0)
        path = 1.7 * rate * np.cumsum(rng.normal(size=apart.shape) * np.sqrt(apart), axis=1)
        wear = (
            landings * rng.normal(rate, 0.12 * rate, (10_000, 1)) + path + rng.normal(0, gauge, apart.shape)
        )
        wear = np.round(wear / step) * step
        fit = fit_wear(landings[:2000], wear[:2000], design=np.ones((2000, 1)))
        assert not gate(fit, arrange(landings, wear), np.ones((10_000, 1))).copied.any()


def test_a_brake_read_by_a_coarser_gauge_than_its_type_is_not_named():
    """Of 10,000 runs one in ten is read to 0.5 mm, the others to 0.1 mm; by the type's own gauge one was named."""
    rng = np.random.default_rng(11)
    landings = np.cumsum(rng.integers(2, 40, (10_000, 20)), axis=1).astype(float)
    apart = np.diff(landings, axis=1, prepend=0.0)
    wear = rng.normal(0.03, 0.0036, (10_000, 1)) * landings
    wear += 0.05 * np.cumsum(rng.normal(size=apart.shape) * np.sqrt(apart), axis=1)
    wear += rng.normal(0, 0.1, apart.shape)
    step = np.where(rng.random(10_000) < 0.1, 0.5, 0.1)[:, None]
    wear = np.round(wear / step) * step
    fit = fit_wear(landings[:2000], wear[:2000], design=np.ones((2000, 1)))
    assert not gate(fit, arrange(landings, wear), np.ones((10_000, 1))).copied.any()


def test_stretches_are_numbered_and_a_level_taken_anew_begins_another():
    wear = np.array([[1.0, 2.0, 2.0, 2.0, 3.0, 4.0, 4.0, 4.0, 4.0], [5.0] * 9])
    restart = np.zeros((2, 9), dtype=bool)
    restart[1, 4] = True
    stretch = equal_in_a_row(arrange(np.tile(np.arange(9) * 50.0, (2, 1)), wear, restart=restart))
    assert stretch.T.tolist() == [[0, 1, 1, 1, 0, 2, 2, 2, 2], [1, 1, 1, 1, 2, 2, 2, 2, 2]]
    assert np.flatnonzero(repeated(stretch)[:, 0]).tolist() == [2, 3, 6, 7, 8]


def test_two_equal_readings_are_no_stretch():
    wear = np.array([[1.0, 2.0, 2.0, 3.0, 3.0]])
    assert not equal_in_a_row(arrange(np.arange(5) * 50.0 * np.ones((1, 5)), wear)).any()


def test_a_run_without_copies_is_judged_as_if_nobody_looked_for_them(monkeypatch):
    """Bit for bit, in a fleet that has natural stretches of equal readings."""
    rng = np.random.default_rng(33)
    landings = np.cumsum(rng.integers(2, 40, (60, 12)), axis=1).astype(float)
    wear = np.round(2 * (0.03 * landings + rng.normal(0, 0.2, landings.shape))) / 2
    runs = runs_of(
        [Brake(tuple(a), tuple(b), resolution_mm=0.5) for a, b in zip(landings, wear, strict=True)]
    )
    looked = fit_fleet(runs).posterior
    monkeypatch.setattr(
        outliers, "equal_in_a_row", lambda readings: np.zeros(readings.valid.shape, dtype=int)
    )
    assert looked.equals(fit_fleet(runs).posterior)
