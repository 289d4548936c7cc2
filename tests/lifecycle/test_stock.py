"""Counts: two-moment binomial, its mixture, and what a stock covers."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, poisson

from lifecycle.stock import count_cdf, expected_backorders, fill_rate, mixed_quantile, ready_rate


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


def test_backorders_and_rates_are_those_of_the_definition_averaged_over_states():
    """Slow plain reference: two equally likely states of a binomial demand."""
    wanted, trials, chances = np.arange(61), 60, (0.1, 0.15)
    law = np.mean([binom.pmf(wanted, trials, chance) for chance in chances], axis=0)
    means = np.array([trials * chance for chance in chances])
    variances = means * (1 - np.array(chances))
    stock = np.arange(20)
    plain = [(np.maximum(wanted - each, 0) * law).sum() for each in stock]
    assert np.allclose(expected_backorders(stock, means, variances), plain, atol=1e-9)
    assert np.allclose(ready_rate(stock, means, variances), np.cumsum(law)[:20], atol=1e-9)
    assert np.allclose(fill_rate(stock, means, variances)[1:], np.cumsum(law)[:19], atol=1e-9)
    assert fill_rate(stock, means, variances)[0] == 0
