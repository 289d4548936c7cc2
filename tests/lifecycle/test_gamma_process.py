"""Wiener path or gamma process: each is recovered and preferred where it is the truth."""

import numpy as np
import pytest
from scipy import integrate, stats

from lifecycle.gamma_process import (
    Increments,
    clear_increments,
    compare_processes,
    fit_gamma,
    fit_wiener,
)
from lifecycle.wear import fit_fleet
from lifecycle.whitened import whitened
from tests.lifecycle.wear_fleet import Brake, paths, runs_of

RUNS, EACH = 150, 20


def landings(rng):
    return rng.uniform(60, 120, (RUNS, EACH))


def wiener_truth(seed):
    """Invented: rate 0.03 (sd 0.003) mm a landing, path 0.05 mm per root landing."""
    rng = np.random.default_rng(seed)
    dx = landings(rng)
    rate = rng.normal(0.03, 0.003, (RUNS, 1))
    dw = rate * dx + 0.05 * np.sqrt(dx) * rng.standard_normal(dx.shape)
    return increments(dx, dw)


def gamma_truth(seed):
    """Invented: the same mean and scatter a landing, wear never going back; scale between runs by a gamma law."""
    rng = np.random.default_rng(seed)
    dx = landings(rng)
    alpha, delta = 0.36, 100.0
    u = rng.gamma(delta, 1.0, (RUNS, 1)) / (0.03 * delta / alpha)
    return increments(dx, rng.gamma(alpha * dx) / u)


def increments(dx, dw):
    run = np.repeat(np.arange(RUNS), EACH)
    up = dw.ravel() > 0
    return Increments(dx.ravel()[up], dw.ravel()[up], run[up])


def test_a_wiener_truth_is_recovered_and_preferred():
    found = dict(fit_wiener(wiener_truth(1)).parameters)
    assert found["rate"] == pytest.approx(0.03, rel=0.02)
    assert found["rate_sd"] == pytest.approx(0.003, rel=0.15)
    assert found["path_sd"] == pytest.approx(0.05, rel=0.04)
    assert compare_processes(wiener_truth(1)).better == "wiener"


def test_a_gamma_truth_is_recovered_and_preferred():
    found = dict(fit_gamma(gamma_truth(2)).parameters)
    assert found["shape_per_landing"] == pytest.approx(0.36, rel=0.05)
    assert found["scale_shape"] == pytest.approx(100.0, rel=0.35)
    mean = found["shape_per_landing"] * found["scale_rate_mm"] / (found["scale_shape"] - 1)
    assert mean == pytest.approx(0.03, rel=0.03)
    assert compare_processes(gamma_truth(2)).better == "gamma"


def test_truths_are_told_apart_nearly_always():
    """Ten fleets of each truth, seeds 10-19."""
    assert {compare_processes(wiener_truth(seed)).better for seed in range(10, 20)} == {"wiener"}
    assert {compare_processes(gamma_truth(seed)).better for seed in range(10, 20)} == {"gamma"}


def test_the_likelihoods_are_those_of_the_definition():
    """Slow plain reference: the random rate, or scale, of each run integrated out numerically, its runs far apart."""
    rng = np.random.default_rng(3)
    dx, rate = rng.uniform(60, 120, (8, 4)), np.linspace(0.02, 0.045, 8)[:, None]
    dw = rate * dx + 0.04 * np.sqrt(dx) * rng.standard_normal(dx.shape)
    data = Increments(dx.ravel(), dw.ravel(), np.repeat(np.arange(8), 4))
    wiener, gamma = fit_wiener(data), fit_gamma(data)
    at = dict(wiener.parameters)
    rates = stats.norm(at["rate"], at["rate_sd"])
    assert wiener.log_likelihood == pytest.approx(
        integrated(rates, dx, dw, lambda r, x, w: stats.norm.logpdf(w, r * x, at["path_sd"] * np.sqrt(x))),
        abs=1e-4,
    )
    of = dict(gamma.parameters)
    scales = stats.gamma(of["scale_shape"], scale=1 / of["scale_rate_mm"])
    shape = of["shape_per_landing"]
    assert gamma.log_likelihood == pytest.approx(
        integrated(scales, dx, dw, lambda u, x, w: stats.gamma.logpdf(w, shape * x, scale=1 / u)), abs=1e-4
    )


def integrated(law, dx, dw, density):
    """Log of the product over runs of the integral of each, by Simpson's rule where the law has weight."""
    points = np.linspace(law.ppf(1e-9), law.isf(1e-9), 2001)
    total = 0.0
    for x, w in zip(dx, dw, strict=True):
        parts = law.logpdf(points) + density(points[:, None], x, w).sum(axis=1)
        total += np.log(integrate.simpson(np.exp(parts), x=points))
    return total


def test_few_increments_are_not_compared():
    few = Increments(np.full(20, 80.0), np.linspace(2, 3, 20), np.zeros(20, dtype=np.int64))
    assert compare_processes(few) is None


def test_increments_are_long_positive_and_within_levels():
    x, w = paths(np.random.default_rng(5), 30, 12)
    brakes = [Brake(tuple(a), tuple(c)) for a, c in zip(x, w, strict=True)]
    brakes[0] = Brake(tuple(x[0]), tuple(w[0]), segment=(0,) * 6 + (1,) * 6)
    brakes[1] = Brake(tuple(x[1]), tuple(w[1]), known_start=False)
    runs = runs_of(brakes)
    fit = fit_fleet(runs)
    data = clear_increments(next(whitened(runs, fit)))
    kind = fit.types[0]
    assert data.landings.min() >= 20 * kind.measurement_sd / kind.rate_mm_per_landing * 0.98
    assert (data.wear_mm > 0).all()
    total = np.bincount(data.run, data.landings)
    assert total[0] < x[0, -1] - (x[0, 6] - x[0, 5]) + 1e-9
    assert total[1] <= x[1, -1] - x[1, 0] + 1e-9
