"""Demand under what all positions of a cell share, against simulated removals."""

import numpy as np
import pytest

from lifecycle.causes import Hazards
from lifecycle.common_factors import by_state
from lifecycle.demand import Positions
from lifecycle.life import Passage
from lifecycle.stock import mixed_quantile

COUNT, MONTHS, A_MONTH, RATE = 400, 6, 100.0, 1 / 5000


def positions(doubt):
    """Brakes that hardly wear and come off for another cause at a constant rate."""
    full = np.full(COUNT, 1.0)
    law = Passage(
        remaining_mm=1000 * full,
        rate=0.001 * full,
        rate_var=1e-12 * full,
        path_sd=1e-3 * full,
        start_var=0 * full,
        start_cov=0 * full,
        flown=0 * full,
        dof=100 * full,
    )
    ages = np.linspace(0.0, 5000.0, 50)
    return Positions(
        law=law,
        usable_mm=1000 * full,
        rate=0.001 * full,
        rate_var=1e-12 * full,
        path_sd=1e-3 * full,
        age=0 * full,
        hazards=Hazards(("BT-1",), ages, RATE * ages[None, :], np.array([doubt])),
        kind=np.zeros(COUNT, dtype=np.int64),
        group=np.zeros(COUNT, dtype=np.int64),
        landings=np.tile(A_MONTH * np.arange(1, MONTHS + 1), (COUNT, 1)),
    )


def p90(doubt):
    means, variances = by_state(positions(doubt), np.array([1e-3]), np.array([doubt]))
    return means[0].mean(axis=1), mixed_quantile(0.9, means[0], variances[0])


def test_the_doubt_of_a_rate_seen_once_widens_demand_as_events_drawn_one_by_one_do():
    """One removal seen and two believed: a gamma law of 3. Lives of each draw follow one another at its own rate."""
    rng = np.random.default_rng(20261125)
    counts = []
    for factor in rng.gamma(3.0, 1 / 3.0, 4000):
        ends = np.cumsum(rng.exponential(1 / (RATE * factor), (COUNT, 6)), axis=1)
        counts.append(np.histogram(ends, bins=A_MONTH * np.arange(MONTHS + 1))[0])
    mean, high = p90(1 / np.sqrt(3.0))
    assert mean == pytest.approx(np.mean(counts, axis=0), rel=0.04)
    assert high == pytest.approx(np.quantile(counts, 0.9, axis=0), abs=1.0)
    _, without = p90(0.0)
    assert (high > without + 1).all()


def test_the_factors_of_the_states_average_to_one_and_tell_nothing_of_one_another():
    means, _ = by_state(positions(0.5), np.array([0.2]), np.array([0.5]))
    alone, _ = by_state(positions(0.5), np.array([0.2]), np.array([0.0]))
    apart = means - alone
    assert means.mean(axis=-1) == pytest.approx(alone.mean(axis=-1), rel=0.01)
    assert abs(np.corrcoef(apart[0, 0], alone[0, 0])[0, 1]) < 0.03
