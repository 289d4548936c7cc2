"""Diagnostics of the wear fit: sizes and powers by simulation, figures against plain loops."""

import functools

import numpy as np
import pytest
from scipy.stats import binom, norm

from lifecycle.curvature import curvature_of
from lifecycle.diagnostics import diagnose
from lifecycle.errors import NotEnoughDataError
from lifecycle.influence import influential_runs, without_each
from lifecycle.wear import fit_fleet
from lifecycle.whitened import whitened
from tests.lifecycle.wear_fleet import Brake, paths, runs_of


def fleet_of(x, w, **more):
    return runs_of([Brake(tuple(a), tuple(c), **more) for a, c in zip(x, w, strict=True)])


@functools.cache
def large():
    """Invented fleet of 300 runs of the model itself, and its fit."""
    x, w = paths(np.random.default_rng(1), 300, 12)
    runs = fleet_of(x, w)
    return runs, fit_fleet(runs)


def told_of(x, w):
    """A small fleet judged by the fit of the large one."""
    return next(whitened(fleet_of(x, w), large()[1]))


def test_a_straight_line_is_rejected_as_often_as_the_test_says():
    """Size by simulation: 150 fleets of 12 runs of the model itself, seeds 100-249; binomial band of three errors."""
    fleets = (paths(np.random.default_rng(seed), 12, 8) for seed in range(100, 250))
    chances = [curvature_of(told_of(*each)).chance for each in fleets]
    rejected = np.mean(np.array(chances) < 0.1)
    assert abs(rejected - 0.1) < 3 * np.sqrt(0.1 * 0.9 / 150)
    assert abs(np.mean(chances) - 0.5) < 3 / np.sqrt(12 * 150)


def test_another_mean_rate_is_no_bend():
    """Brakes that all wear a fifth faster than the fit says, along straight lines."""
    x, w = paths(np.random.default_rng(9), 150, 8, rate=0.036, rate_sd=0.0036)
    assert curvature_of(told_of(x, w)).chance > 0.02


def test_a_bend_is_found_with_its_size():
    """Invented: the rate rises by a quarter over 1,000 landings."""
    x, w = paths(np.random.default_rng(2), 300, 12)
    bent = w + 0.03 * 0.25 * x**2 / (2 * 1000)
    runs = fleet_of(x, bent)
    found = diagnose(runs, fit_fleet(runs))[0]
    change = found.curvature.change * 1000 / found.curvature.over_landings
    # The mean rate of the fit lies between the first and the last.
    assert change == pytest.approx(0.25 / 1.125, rel=0.2)
    assert found.curvature.chance < 1e-4
    assert any("the wear rate rises" in doubt for doubt in found.doubts)


def test_where_the_model_is_the_truth_nothing_speaks_against_it():
    runs, fit = large()
    (found,) = diagnose(runs, fit)
    assert found.doubts == ()
    assert found.sd == pytest.approx(1.0, abs=0.05)
    assert all(abs(each.correlation) < 2 * each.band for each in found.lags)
    inside = [each.low <= each.found <= each.high for each in found.quantiles]
    assert np.mean(inside) > 0.85
    assert [each.number for each in found.by_number] == list(range(1, 13))


def test_figures_by_number_and_lag_are_those_of_plain_loops():
    """Slow plain reference, gaps skipped: a reading kept out has no number."""
    x, w = paths(np.random.default_rng(3), 40, 9)
    w[5, 4] += 6.0
    told = told_of(x, w)
    (found,) = diagnose(fleet_of(x, w), large()[1])
    own = [column[np.isfinite(column)] for column in told.away.T]
    assert min(map(len, own)) == 8
    for number in (1, 5, 9):
        values = [each[number - 1] for each in own if len(each) >= number]
        by_number = found.by_number[number - 1]
        assert (by_number.readings, by_number.mean) == (len(values), pytest.approx(np.mean(values)))
    mean = np.concatenate(own).mean()
    variance = np.mean((np.concatenate(own) - mean) ** 2)
    for lag in (1, 3):
        products = [(a - mean) * (b - mean) for each in own for a, b in zip(each, each[lag:], strict=False)]
        assert found.lags[lag - 1].pairs == len(products)
        assert found.lags[lag - 1].correlation == pytest.approx(np.mean(products) / variance)


def test_leaving_out_a_run_is_the_dense_least_squares_without_it():
    """
    Slow plain reference: generalised least squares at the fitted variances from dense covariance matrices.

    V = tau^2 x x' + s^2 min(x, x') + sigma^2 I.
    """
    x, w = paths(np.random.default_rng(4), 60, 8)
    w[7] *= 1.3
    runs = fleet_of(x, w)
    fit = fit_fleet(runs)
    told = next(whitened(runs, fit))
    kind = fit.types[0]
    a, c = np.zeros(60), np.zeros(60)
    for run in range(60):
        read = told.readings.valid[:, run] & ~told.readings.restart[:, run]
        at, wear = x[run][read], w[run][read]
        v = kind.rate_sd**2 * np.outer(at, at) + kind.path_sd**2 * np.minimum.outer(at, at)
        v += kind.measurement_sd**2 * np.eye(at.size)
        a[run], c[run] = at @ np.linalg.solve(v, at), at @ np.linalg.solve(v, wear)
    whole = c.sum() / a.sum()
    dense = (c.sum() - c) / (a.sum() - a) / whole - 1
    clean = ~told.readings.restart.any(axis=0)
    assert without_each(told)[clean] == pytest.approx(dense[clean], abs=2e-4)
    first = influential_runs(told)[0]
    assert (first.serial, first.change) == (
        f"S{np.abs(without_each(told)).argmax()}",
        without_each(told)[int(first.serial[1:])],
    )


def test_readings_that_scatter_more_than_the_model_says_are_told():
    x, w = paths(np.random.default_rng(6), 60, 10)
    noisy = w + np.random.default_rng(7).normal(0, 0.4, w.shape)
    (found,) = diagnose(fleet_of(x, noisy), large()[1])
    assert any("times as much" in doubt for doubt in found.doubts)


def test_readings_beyond_3_are_a_doubt_where_chance_hardly_gives_so_many():
    """Reference: the binomial tail of scipy; the last readings of some runs are moved to 3.3 deviations."""
    x, w = paths(np.random.default_rng(12), 90, 10)
    away, a_mm_on = told_of(x, w).away, w.copy()
    a_mm_on[:, -1] += 0.1
    per_mm = (told_of(x, a_mm_on).away[-1] - away[-1]) / 0.1
    seen = set()
    for moved in (2, 5, 9):
        off = w.copy()
        off[:moved, -1] += ((3.3 - away[-1]) / per_mm)[:moved]
        (found,) = diagnose(fleet_of(x, off), large()[1])
        far = round(found.beyond_3 * found.innovations)
        rare = binom.sf(far - 1, found.innovations, 2 * norm.sf(3)) < 0.01
        assert any("beyond 3 deviations" in doubt for doubt in found.doubts) == rare
        seen.add(rare)
    assert seen == {True, False}


def test_readings_kept_out_are_counted_and_few_runs_are_said_to_be_too_few():
    x, w = paths(np.random.default_rng(3), 10, 9)
    w[5, 4] += 6.0
    (ten,), (nine,) = (diagnose(fleet_of(x[:runs], w[:runs]), large()[1]) for runs in (10, 9))
    assert (ten.kept_out, ten.innovations, ten.too_few) == (1, 89, False)
    assert nine.too_few


def test_a_type_that_nobody_read_twice_is_left_out_and_one_can_be_asked_for():
    x, w = paths(np.random.default_rng(8), 8, 5)
    brakes = [Brake(tuple(a), tuple(c)) for a, c in zip(x, w, strict=True)]
    runs = runs_of([*brakes, Brake((100.0,), (3.0,), brake_type="BT-2"), *[
        Brake(tuple(a), tuple(c), brake_type="BT-3") for a, c in zip(x, w, strict=True)]])  # fmt: skip
    fit = large()[1]
    assert [each.brake_type for each in diagnose(runs, fit)] == ["BT-1", "BT-3"]
    assert [each.brake_type for each in diagnose(runs, fit, "BT-3")] == ["BT-3"]
    with pytest.raises(NotEnoughDataError, match=r"BT-2.*wanted one of: BT-1, BT-3"):
        diagnose(runs, fit, "BT-2")
