"""Counts: two-moment binomial, its mixture, and Poisson stock."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, poisson

from lifecycle.stock import count_cdf, expected_backorders, mixed_quantile


@given(trials=st.integers(1, 120), chance=st.floats(0.01, 0.99))
def test_sum_of_alike_events_is_the_binomial_itself(trials, chance):
    counts = np.arange(trials + 2)
    mean = trials * chance
    found = count_cdf(counts, mean, mean * (1 - chance))
    assert np.abs(found - binom.cdf(counts, trials, chance)).max() < 1e-9


@given(mean=st.floats(0.01, 50))
def test_with_equal_moments_it_is_the_poisson(mean):
    counts = np.arange(100)
    assert np.abs(count_cdf(counts, mean, mean) - poisson.cdf(counts, mean)).max() < 1e-9


@given(
    means=st.lists(st.floats(0.0, 80), min_size=1, max_size=6),
    share=st.floats(0.05, 1.0),
    level=st.floats(0.02, 0.98),
)
def test_quantile_is_the_first_count_that_reaches_the_level(means, share, level):
    moments = np.array([means])
    found = mixed_quantile(level, moments, moments * share)
    reached = count_cdf(found[:, None], moments, moments * share).mean()
    before = count_cdf(found[:, None] - 1, moments, moments * share).mean()
    assert reached >= level > before


def test_unequal_chances_are_matched_to_their_sum():
    rng = np.random.default_rng(5)
    chances = rng.uniform(0.02, 0.7, 40)
    simulated = (rng.random((200_000, 40)) < chances).sum(axis=1)
    mean, variance = chances.sum(), (chances * (1 - chances)).sum()
    counts = np.arange(5, 25)
    told = np.array([(simulated <= count).mean() for count in counts])
    assert np.abs(count_cdf(counts, mean, variance) - told).max() < 0.01


def test_backorders_are_the_mean_of_what_is_wanted_beyond_the_stock():
    wanted = np.arange(200)
    plain = [(np.maximum(wanted - stock, 0) * poisson.pmf(wanted, 7.3)).sum() for stock in range(20)]
    assert np.allclose(expected_backorders(np.arange(20), 7.3), plain, atol=1e-12)
